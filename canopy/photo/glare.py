"""Glare: small spots of mirrored lamp on wet leaves, film or water, which hide what lies below."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.settings import PhotoSettings


def glare_share(rgb: NDArray[np.uint8], *, mm_per_px: float, settings: PhotoSettings) -> float:
    """Share of the picture, 0..1, that is a small, nearly white spot on something clearly darker.

    White things (rims, cards, labels) hang together over more than a spot; what is light all over is no spot either.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
        sRGB code values.
    mm_per_px : float
    settings : PhotoSettings
        `glare_spot_mm`, `glare_code`, `glare_step`.
    """
    shrink = max(1, int(settings.glare_mm_per_px / mm_per_px))
    # Thinned, not averaged: a spot of a few pixels keeps its code values.
    # Channel by channel: many times faster than along the short axis.
    thin = rgb[::shrink, ::shrink]
    darkest = np.minimum(np.minimum(thin[..., 0], thin[..., 1]), thin[..., 2])
    width = 2 * int(settings.glare_spot_mm / (mm_per_px * shrink) / 2) + 1
    if width < 3 or min(darkest.shape) <= width:
        return 0.0
    light = darkest >= settings.glare_code
    below = cv2.morphologyEx(darkest, cv2.MORPH_OPEN, np.ones((width + 2, width + 2), np.uint8))
    spots = np.flatnonzero(light & (cv2.subtract(darkest, below) >= settings.glare_step))
    if not spots.size:
        return 0.0
    _, labels, stats, _ = cv2.connectedComponentsWithStats(light.view(np.uint8), connectivity=8)
    small = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) <= width
    return float(np.count_nonzero(small[labels.ravel().take(spots)])) / darkest.size
