"""The picture as the network sees it: fixed millimetres per pixel, fixed mean brightness."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.settings.segment import SegmentSettings
from canopy.tray.rectify import Rectified
from canopy.tray.resample import shrunk

# Part of the contract with the trained weights, not adjustable apart from them: the training pictures were brought to
# this mean by a gain within these limits.
TARGET_MEAN = 0.42
MIN_GAIN = 0.6
MAX_GAIN = 4.0


@dataclass(frozen=True)
class Feed:
    """The tray at the network's scale; its pixels cover the same ground as the rectified picture's.

    Attributes
    ----------
    rgb : (m, n, 3) uint8 ndarray
        sRGB, as photographed.
    normalised : (m, n, 3) uint8 ndarray
        The same with its mean brightness brought to 0.42.
    valid : (m, n) bool ndarray
        True where the photo reaches.
    gain : float
        normalised = gain · rgb, clipped.
    mm_per_px : float
    """

    rgb: NDArray[np.uint8]
    normalised: NDArray[np.uint8]
    valid: NDArray[np.bool_]
    gain: float
    mm_per_px: float


def make_feed(rectified: Rectified, *, stage: str, settings: SegmentSettings) -> Feed:
    """Shrink the rectified picture to the stage's scale and normalise its exposure.

    It is enlarged only when it would otherwise fall below the least size, because enlarging adds no detail.
    """
    rows, cols = rectified.rgb.shape[:2]
    factor = feed_factor(rows * cols / 1e6, mm_per_px=rectified.mm_per_px, stage=stage, settings=settings)
    size = (max(1, round(cols * factor)), max(1, round(rows * factor)))
    rgb = shrunk(rectified.rgb, *size)
    valid = np.ones(rgb.shape[:2], dtype=bool)
    if not rectified.inside.all():
        valid = shrunk(rectified.inside.view(np.uint8) * np.uint8(255), *size) > 127
    gain = exposure_gain(rgb, valid=valid)
    scale = rectified.mm_per_px * float(np.sqrt(rows * cols / (size[0] * size[1])))
    normalised = np.asarray(cv2.convertScaleAbs(rgb, alpha=gain), dtype=np.uint8)
    return Feed(rgb, normalised, valid, gain, scale)


def feed_factor(megapixels: float, *, mm_per_px: float, stage: str, settings: SegmentSettings) -> float:
    """Factor from the rectified grid to the network's, ≤ 1 unless the picture is below the least size."""
    factor = min(1.0, mm_per_px / settings.feed_mm_per_px.at(stage))
    least = float(np.sqrt(settings.feed_min_megapixels / megapixels))
    most = float(np.sqrt(settings.feed_max_megapixels / megapixels))
    return min(max(factor, least), most)


def exposure_gain(rgb: NDArray[np.uint8], *, valid: NDArray[np.bool_]) -> float:
    """Gain that brings the mean of all channels over valid pixels to 0.42, within the limits; 1 if none is valid."""
    if not valid.any():
        return 1.0
    mean = sum(cv2.mean(rgb, valid.view(np.uint8))[:3]) / (3 * 255)
    return min(max(TARGET_MEAN / max(mean, 1e-6), MIN_GAIN), MAX_GAIN)
