"""What is too small, too far out or never convincing is taken out of the probability; pinholes are closed."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.segment.feed import Feed
from canopy.settings.segment import SegmentSettings

FloatImage = NDArray[np.float32]
Mask = NDArray[np.bool_]

_HALF = np.float32(0.5)


def tidy_canopy(
    probability: FloatImage, *, reach: Mask, feed: Feed, plant_coloured: Mask, stage: str, settings: SegmentSettings
) -> FloatImage:
    """Probability with unbelievable pieces removed and plant-coloured pinholes filled.

    Parameters
    ----------
    probability : (m, n) float32 ndarray
        As the network gave it.
    reach : (m, n) bool ndarray
        The tray's outline and its margin: beyond, nothing is canopy.
    feed : Feed
        For the scale.
    plant_coloured : (m, n) bool ndarray
        What the colour classifier takes for plant.
    stage : str
        Sets the smallest believed piece.

    Returns
    -------
    (m, n) float32 ndarray
        A new array; removed pieces are 0 together with the faint pixels around them, filled holes 1.
    """
    pixel_mm2 = feed.mm_per_px**2
    tidied = np.where(reach, probability, np.float32(0))
    tidied = _without_specks(tidied, min_px=settings.min_piece_mm2.at(stage) / pixel_mm2, settings=settings)
    return _without_pinholes(tidied, max_px=settings.hole_mm2 / pixel_mm2, plant_coloured=plant_coloured)


def _without_specks(probability: FloatImage, *, min_px: float, settings: SegmentSettings) -> FloatImage:
    """Zero every piece (8-connected) that is smaller than `min_px` or never reaches the peak probability."""
    canopy = (probability > _HALF).view(np.uint8)
    at, piece, area = _pieces(canopy, connectivity=8)
    convincing = np.zeros(area.size, dtype=bool)
    convincing[piece[probability.ravel().take(at) >= settings.peak_probability]] = True
    unbelieved = ~convincing | (area < min_px)
    lost = at[unbelieved.take(piece)]
    if not lost.size:
        return probability
    specks = np.zeros_like(canopy)
    specks.ravel()[lost] = 1
    # The faint rim of a speck goes with it, but never what is next to a believed piece.
    around = np.ones((5, 5), np.uint8)
    beside, believed = (np.asarray(cv2.dilate(part, around), dtype=np.uint8) for part in (specks, canopy ^ specks))
    cleared = probability.copy()
    cleared.ravel()[np.flatnonzero(beside > believed)] = 0
    cleared.ravel()[lost] = 0
    return cleared


def _without_pinholes(probability: FloatImage, *, max_px: float, plant_coloured: Mask) -> FloatImage:
    """Fill holes (4-connected) of at most `max_px` of which most pixels are plant-coloured.

    Larger gaps between leaves are ground seen through the canopy and stay.
    """
    canopy = (probability > _HALF).view(np.uint8)
    # A hole too small for a whole square is closed by it; what touches ground that stays open is no hole. So only the
    # thin ground between leaves is counted through, not all of it. Beyond the picture counts as canopy; odd sides,
    # because OpenCV closes by even ones with a shift.
    side = 2 * ((math.isqrt(int(max_px)) + 1) // 2) + 1
    square = np.ones((side, side), np.uint8)
    morphed = cv2.morphologyEx(canopy, cv2.MORPH_CLOSE, square, borderType=cv2.BORDER_CONSTANT, borderValue=(1,))
    closed = np.asarray(morphed, dtype=np.uint8)
    at, hole, area = _pieces(closed ^ canopy, connectivity=4)
    small = area <= max_px
    beside_open = cv2.dilate(1 - closed, cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3)))
    small[hole[np.asarray(beside_open).ravel().take(at) > 0]] = False
    coloured = np.bincount(hole[plant_coloured.ravel().take(at)], minlength=area.size)
    filled = at[(small & (coloured > area / 2)).take(hole)]
    if not filled.size:
        return probability
    without = probability.copy()
    without.ravel()[filled] = 1
    return without


def _pieces(
    mask: NDArray[np.uint8], *, connectivity: int
) -> tuple[NDArray[np.intp], NDArray[np.int32], NDArray[np.intp]]:
    """Flat indices of the mask's pixels, number of the connected piece that each belongs to, and the pieces' sizes."""
    # Counting apart, in the mask only: the call that gives statistics as well takes several times as long.
    count, labels = cv2.connectedComponents(mask, connectivity=connectivity, ltype=cv2.CV_32S)
    at = np.flatnonzero(mask.view(bool))
    number = np.asarray(labels, dtype=np.int32).ravel().take(at)
    return at, number, np.bincount(number, minlength=count)
