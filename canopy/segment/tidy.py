"""What is too small, too far out or never convincing is taken out of the probability; pinholes are closed."""

from __future__ import annotations

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
    canopy = probability > _HALF
    labels, area = _pieces(canopy, connectivity=8)
    convincing = np.zeros(area.size, dtype=bool)
    convincing[labels[probability >= settings.peak_probability]] = True
    unbelieved = ~convincing | (area < min_px)
    unbelieved[0] = False
    if not unbelieved.any():
        return probability
    specks = unbelieved.take(labels)
    # The faint rim of a speck goes with it, but never what is next to a believed piece.
    around = np.ones((5, 5), np.uint8)
    halo = cv2.dilate(specks.view(np.uint8), around).view(bool)
    halo &= ~cv2.dilate((canopy & ~specks).view(np.uint8), around).view(bool)
    halo |= specks
    return np.where(halo, np.float32(0), probability)


def _without_pinholes(probability: FloatImage, *, max_px: float, plant_coloured: Mask) -> FloatImage:
    """Fill holes (4-connected) of at most `max_px` of which most pixels are plant-coloured.

    Larger gaps between leaves are ground seen through the canopy and stay.
    """
    labels, area = _pieces(~(probability > _HALF), connectivity=4)
    small = area <= max_px
    small[0] = False
    if not small.any():
        return probability
    at = np.flatnonzero(small.take(labels))
    hole = labels.ravel().take(at)
    coloured = np.bincount(hole[plant_coloured.ravel().take(at)], minlength=area.size)
    filled = probability.copy()
    filled.ravel()[at[coloured.take(hole) > area.take(hole) / 2]] = 1
    return filled


def _pieces(mask: Mask, *, connectivity: int) -> tuple[NDArray[np.int32], NDArray[np.intp]]:
    """Number of the connected piece that each pixel belongs to, 0 outside the mask, and their sizes in pixels."""
    # Counting apart: the call that gives statistics as well takes three times as long as both.
    count, labels = cv2.connectedComponents(mask.view(np.uint8), connectivity=connectivity, ltype=cv2.CV_32S)
    numbers = np.asarray(labels, dtype=np.int32)
    return numbers, np.bincount(numbers.ravel(), minlength=count)
