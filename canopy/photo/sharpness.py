"""How sharp a picture is: edge blur in pixels, whatever the picture shows, and the plain Laplacian variance."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.settings import PhotoSettings

FloatArray = NDArray[np.float64]

# A central difference smooths along its axis like a box two pixels wide: variance 2²/12.
_DIFFERENCE_VARIANCE_PX2 = 1 / 3
_DIRECTIONS = 4
_TAN_HALF_STEP = np.float32(math.tan(math.pi / 8))
# Steps (x, y) across an edge whose gradient points to 0°, 45°, 90°, 135°.
_ACROSS = np.array([[1, 0], [1, 1], [0, 1], [-1, 1]])


def laplacian_variance(grey: NDArray[np.uint8] | FloatArray) -> float:
    """Variance of the 4-neighbour Laplacian (Pech-Pacheco et al. 2000), in squared code values.

    It grows with contrast and texture as well as with sharpness, so it compares photos of one camera and one scene at
    one scale only; see `edge_blur_px` for a figure that holds across scenes.

    Parameters
    ----------
    grey : (M, N) ndarray
        Code values; the picture's border is continued outwards.
    """
    response = cv2.Laplacian(np.asarray(grey, np.float64), cv2.CV_64F, ksize=1, borderType=cv2.BORDER_REPLICATE)
    return float(np.var(response))


def edge_blur_px(grey: NDArray[np.uint8], *, settings: PhotoSettings) -> float | None:
    """Standard deviation of the blur at the picture's strongest edges, in pixels, in the direction that is worst.

    The picture, calmed a little against noise, is blurred once more by a known amount s. At the middle of a step edge
    of any height the gradient then falls by the factor R = √(b² + s²)/b, so b = s/√(R² − 1) is the blur that was there
    before (Zhuo & Sim 2011, Pattern Recognition 44(9):1852–1858). Contrast and the amount of texture cancel. Edges are
    grouped by direction, because a moved camera blurs some directions only.

    Parameters
    ----------
    grey : (M, N) uint8 ndarray
    settings : PhotoSettings

    Returns
    -------
    float or None
        0.3 or so for a perfectly sharp rendering; None when too few edges stand out to tell.
    """
    calm = _smooth(grey, settings.blur_calm_px)
    sharp = _gradient(calm)
    soft = _gradient(_smooth(calm, settings.blur_probe_px))
    rows, cols, direction = _strongest(*soft, settings=settings)
    along = np.stack([soft[0][rows, cols], soft[1][rows, cols]]).astype(np.float64)
    # The part of the sharper gradient that points the same way: noise in it cancels, where its length would grow.
    ratio = (sharp[0][rows, cols] * along[0] + sharp[1][rows, cols] * along[1]) / np.maximum(
        (along**2).sum(axis=0), 1.0
    )
    # A ratio of 1 means no loss at all, blur without bound; keep it finite.
    blur_px2 = settings.blur_probe_px**2 / (np.maximum(ratio**2, 1.001) - 1)
    blur_px2 -= _DIFFERENCE_VARIANCE_PX2 + settings.blur_calm_px**2
    worst = [
        float(np.quantile(blur_px2[direction == d], settings.blur_quantile))
        for d in range(_DIRECTIONS)
        if np.count_nonzero(direction == d) >= settings.blur_edge_min
    ]
    return math.sqrt(max(*worst, 0.0)) if worst else None


def _smooth(grey: NDArray[np.uint8], sigma_px: float) -> NDArray[np.uint8]:
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), sigma_px, borderType=cv2.BORDER_REPLICATE), np.uint8)


def _gradient(grey: NDArray[np.uint8]) -> tuple[NDArray[np.int16], NDArray[np.int16]]:
    gx = cv2.Sobel(grey, cv2.CV_16S, 1, 0, ksize=3, borderType=cv2.BORDER_REPLICATE)
    gy = cv2.Sobel(grey, cv2.CV_16S, 0, 1, ksize=3, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(gx, np.int16), np.asarray(gy, np.int16)


def _direction(gx: NDArray[np.int16], gy: NDArray[np.int16]) -> NDArray[np.intp]:
    """Nearest of 0°, 45°, 90°, 135° to each gradient; compared, not by arc tangent, which takes three times as long."""
    across, down = np.abs(gx).astype(np.float32), np.abs(gy).astype(np.float32)
    direction = np.where((gx < 0) == (gy < 0), 1, 3)
    direction[down < _TAN_HALF_STEP * across] = 0
    direction[across < _TAN_HALF_STEP * down] = 2
    return np.asarray(direction, np.intp)


def _strongest(
    gx: NDArray[np.int16], gy: NDArray[np.int16], *, settings: PhotoSettings
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
    """Rows, columns and directions of the middles of the strongest edges, as many of each direction."""
    strength = np.abs(gx) + np.abs(gy)  # at most 8 · 255: fits int16, three times faster than floats
    step = max(1, int(math.sqrt(strength.size / settings.light_sample_px)))
    # Edges across a camera's motion are weaker than those along it: look at many, then keep the best of each direction.
    share = min(settings.blur_pool * settings.blur_edge_share, 1.0)
    bound = max(float(np.quantile(strength[::step, ::step], 1 - share)), settings.blur_edge_codes)
    places = np.flatnonzero(strength[1:-1, 1:-1] >= bound)
    rows, cols = np.divmod(places, strength.shape[1] - 2)
    rows, cols = rows + 1, cols + 1
    direction = _direction(gx[rows, cols], gy[rows, cols])
    dx, dy = _ACROSS[direction].T
    here = _length2(gx, gy, rows, cols)
    # In the middle of its edge a pixel is no weaker than its neighbours across it.
    keep = (here >= _length2(gx, gy, rows + dy, cols + dx)) & (here >= _length2(gx, gy, rows - dy, cols - dx))
    wanted = max(settings.blur_edge_min, int(settings.blur_edge_share * strength.size / _DIRECTIONS))
    chosen = []
    for d in range(_DIRECTIONS):
        of_direction = np.flatnonzero(keep & (direction == d))
        chosen.append(of_direction[np.argsort(-here[of_direction], kind="stable")[:wanted]])
    best = np.concatenate(chosen)
    return rows[best], cols[best], direction[best]


def _length2(
    gx: NDArray[np.int16], gy: NDArray[np.int16], rows: NDArray[np.intp], cols: NDArray[np.intp]
) -> NDArray[np.int32]:
    return np.asarray(gx[rows, cols].astype(np.int32) ** 2 + gy[rows, cols].astype(np.int32) ** 2)
