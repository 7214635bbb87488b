"""How sharp a picture is: edge blur in pixels, whatever the picture shows, and the plain Laplacian variance."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.photo.light import code_quantile
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

    See `edge_blurs_px`; None when too few edges stand out to tell.
    """
    return max(edge_blurs_px(grey, settings=settings), default=None)


def edge_blurs_px(grey: NDArray[np.uint8], *, settings: PhotoSettings) -> list[float]:
    """Standard deviation of the blur at the picture's strongest edges, in pixels, for each direction that shows enough.

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
    list of float
        Up to four values, 0.3 or so for a perfectly sharp rendering; empty when too few edges stand out to tell.
    """
    calm = _smooth(grey, settings.blur_calm_px)
    soft = _gradient(_smooth(calm, settings.blur_probe_px))
    places, direction = _strongest(*soft, settings=settings)
    along = np.stack([part.take(places) for part in soft]).astype(np.float64)
    sharp = _gradient_at(calm, places)
    # The part of the sharper gradient that points the same way: noise in it cancels, where its length would grow.
    ratio = (sharp * along).sum(axis=0) / np.maximum((along**2).sum(axis=0), 1.0)
    # A ratio of 1 means no loss at all, blur without bound; keep it finite.
    blur_px2 = settings.blur_probe_px**2 / (np.maximum(ratio**2, 1.001) - 1)
    blur_px2 -= _DIFFERENCE_VARIANCE_PX2 + settings.blur_calm_px**2
    return [
        math.sqrt(max(float(np.quantile(blur_px2[direction == d], settings.blur_quantile)), 0.0))
        for d in range(_DIRECTIONS)
        if np.count_nonzero(direction == d) >= settings.blur_edge_min
    ]


def _smooth(grey: NDArray[np.uint8], sigma_px: float) -> NDArray[np.uint8]:
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), sigma_px, borderType=cv2.BORDER_REPLICATE), np.uint8)


def _gradient(grey: NDArray[np.uint8]) -> tuple[NDArray[np.int16], NDArray[np.int16]]:
    gx = cv2.Sobel(grey, cv2.CV_16S, 1, 0, ksize=3, borderType=cv2.BORDER_REPLICATE)
    gy = cv2.Sobel(grey, cv2.CV_16S, 0, 1, ksize=3, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(gx, np.int16), np.asarray(gy, np.int16)


def _gradient_at(grey: NDArray[np.uint8], places: NDArray[np.intp]) -> NDArray[np.intp]:
    """(2, n): the same in a few places, flat indices not on the border."""
    width = grey.shape[1]
    around = {(y, x): grey.take(places + (y * width + x)).astype(np.intp) for y in (-1, 0, 1) for x in (-1, 0, 1)}
    gx = sum((2 - abs(y)) * (around[y, 1] - around[y, -1]) for y in (-1, 0, 1))
    gy = sum((2 - abs(x)) * (around[1, x] - around[-1, x]) for x in (-1, 0, 1))
    return np.asarray([gx, gy], np.intp)


def _direction(gx: NDArray[np.int16], gy: NDArray[np.int16]) -> NDArray[np.intp]:
    """Nearest of 0°, 45°, 90°, 135° to each gradient; compared, not by arc tangent, which takes three times as long."""
    across, down = np.abs(gx).astype(np.float32), np.abs(gy).astype(np.float32)
    direction = np.where((gx < 0) == (gy < 0), 1, 3)
    direction[down < _TAN_HALF_STEP * across] = 0
    direction[across < _TAN_HALF_STEP * down] = 2
    return np.asarray(direction, np.intp)


def _strongest(
    gx: NDArray[np.int16], gy: NDArray[np.int16], *, settings: PhotoSettings
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Flat indices and directions of the middles of the strongest edges, as many of each direction."""
    strength = np.abs(gx)
    strength += np.abs(gy)  # at most 8 · 255: fits int16, three times faster than floats
    step = max(1, int(math.sqrt(strength.size / settings.light_sample_px)))
    # Edges across a camera's motion are weaker than those along it: look at many, then keep the best of each direction.
    share = min(settings.blur_pool * settings.blur_edge_share, 1.0)
    bound = max(code_quantile(strength[::step, ::step], 1 - share), settings.blur_edge_codes)
    strong = strength >= np.int16(math.ceil(bound))  # whole numbers of 16 bits: no picture of floats is made to compare
    strong[0] = strong[-1] = strong[:, 0] = strong[:, -1] = False
    places = np.flatnonzero(strong)
    direction = _direction(gx.take(places), gy.take(places))
    across = (_ACROSS[:, 1] * strength.shape[1] + _ACROSS[:, 0])[direction]
    here = _length2(gx, gy, places)
    # In the middle of its edge a pixel is no weaker than its neighbours across it.
    keep = (here >= _length2(gx, gy, places + across)) & (here >= _length2(gx, gy, places - across))
    wanted = max(settings.blur_edge_min, int(settings.blur_edge_share * strength.size / _DIRECTIONS))
    chosen = []
    for d in range(_DIRECTIONS):
        of_direction = np.flatnonzero(keep & (direction == d))
        chosen.append(of_direction[_greatest(here[of_direction], wanted)])
    best = np.concatenate(chosen)
    return places[best], direction[best]


def _greatest(values: NDArray[np.int32], count: int) -> NDArray[np.intp]:
    """Indices of the `count` greatest values, the first of equal ones; all if there are fewer. Not in order."""
    if values.size <= count:
        return np.arange(values.size)
    least = np.partition(values, values.size - count)[values.size - count]
    above = np.flatnonzero(values > least)
    return np.concatenate([above, np.flatnonzero(values == least)[: count - above.size]])


def _length2(gx: NDArray[np.int16], gy: NDArray[np.int16], places: NDArray[np.intp]) -> NDArray[np.int32]:
    return np.asarray(gx.take(places).astype(np.int32) ** 2 + gy.take(places).astype(np.int32) ** 2)
