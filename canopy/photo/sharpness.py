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

    The picture is blurred once more by a known amount s. At the middle of a step edge of any height the gradient then
    falls by the factor R = √(b² + s²)/b, so b = s/√(R² − 1) is the blur that was there before (Zhuo & Sim 2011,
    Pattern Recognition 44(9):1852–1858). Contrast and the amount of texture cancel. Edges are grouped by direction,
    because a moved camera blurs some directions only.

    Parameters
    ----------
    grey : (M, N) uint8 ndarray
    settings : PhotoSettings

    Returns
    -------
    float or None
        0.3 or so for a perfectly sharp rendering; None when too few edges stand out to tell.
    """
    soft = cv2.GaussianBlur(grey, (0, 0), settings.blur_probe_px, borderType=cv2.BORDER_REPLICATE)
    gx, gy = _gradient(np.asarray(soft, np.uint8))
    strength = np.abs(gx).astype(np.int32) + np.abs(gy)
    step = max(1, int(math.sqrt(grey.size / settings.light_sample_px)))
    bound = max(float(np.quantile(strength[::step, ::step], 1 - settings.blur_edge_share)), 1.0)
    rows, cols = np.nonzero(strength[1:-1, 1:-1] >= bound)
    rows, cols = rows + 1, cols + 1
    direction = _direction(gx[rows, cols], gy[rows, cols])
    rows, cols, direction = _ridge(np.hypot(gx, gy, dtype=np.float32), rows, cols, direction)
    blur_px2 = _blur_variance(
        grey, soft_gradient=(gx[rows, cols], gy[rows, cols]), rows=rows, cols=cols, probe_px=settings.blur_probe_px
    )
    worst = [
        float(np.quantile(blur_px2[direction == d], settings.blur_quantile))
        for d in range(_DIRECTIONS)
        if np.count_nonzero(direction == d) >= settings.blur_edge_min
    ]
    return math.sqrt(max(worst)) if worst else None


def _gradient(grey: NDArray[np.uint8]) -> tuple[NDArray[np.int16], NDArray[np.int16]]:
    gx = cv2.Sobel(grey, cv2.CV_16S, 1, 0, ksize=3, borderType=cv2.BORDER_REPLICATE)
    gy = cv2.Sobel(grey, cv2.CV_16S, 0, 1, ksize=3, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(gx, np.int16), np.asarray(gy, np.int16)


def _direction(gx: NDArray[np.int16], gy: NDArray[np.int16]) -> NDArray[np.intp]:
    """Nearest of 0°, 45°, 90°, 135° to each gradient."""
    angle = np.arctan2(gy.astype(np.float64), gx)
    return np.asarray(np.rint(angle / (math.pi / _DIRECTIONS)).astype(np.intp) % _DIRECTIONS)


def _ridge(
    strength: NDArray[np.float32], rows: NDArray[np.intp], cols: NDArray[np.intp], direction: NDArray[np.intp]
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
    """Keep the pixels in the middle of their edge: no weaker than their neighbours across it."""
    dx, dy = _ACROSS[direction].T
    here = strength[rows, cols]
    keep = (here >= strength[rows + dy, cols + dx]) & (here >= strength[rows - dy, cols - dx])
    return rows[keep], cols[keep], direction[keep]


def _blur_variance(
    grey: NDArray[np.uint8],
    *,
    soft_gradient: tuple[NDArray[np.int16], NDArray[np.int16]],
    rows: NDArray[np.intp],
    cols: NDArray[np.intp],
    probe_px: float,
) -> FloatArray:
    gx, gy = _gradient(grey)
    sharp = np.hypot(gx[rows, cols].astype(np.float64), gy[rows, cols])
    soft = np.hypot(soft_gradient[0].astype(np.float64), soft_gradient[1])
    # A ratio of 1 means no loss at all: blur without bound; keep it finite.
    ratio2 = np.maximum((sharp / soft) ** 2, 1.001)
    return np.maximum(probe_px**2 / (ratio2 - 1) - _DIFFERENCE_VARIANCE_PX2, 0.0)
