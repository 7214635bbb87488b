"""How clearly a tray ends where a layout says: edges of the picture along its four sides."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from canopy.records import Layout
from canopy.tray.fit import PlaneFit
from canopy.tray.frame import apply_homography, distort

FloatArray = NDArray[np.float64]

_ALONG = 240  # places along a side
_ENDS = 0.05  # share of a side left out at its ends
_REACH = 0.55  # pitches looked at on both sides of where the outline should be
_NEAR = 0.08  # pitches within which an edge is the outline's
_STEPS = 89  # across, odd so that the middle is the outline's own place
_SMOOTH = 1.5  # steps


def rim_edges(rgb: NDArray[np.uint8], fit: PlaneFit, layout: Layout) -> FloatArray:
    """For each side, the strongest edge where the outline should be over the strongest one near by; 0..1, (4,).

    An edge counts by the change of colour across it, averaged along the side, so that leaves and grains cancel out.
    """
    found = []
    corners = layout.outline_mm
    for k in range(4):
        start, end = corners[k], corners[(k + 1) % 4]
        pitch = layout.pitch_y_mm if k % 2 == 0 else layout.pitch_x_mm
        unit = (end - start) / np.hypot(*(end - start))
        normal = np.array([unit[1], -unit[0]])
        t = np.linspace(_ENDS, 1 - _ENDS, _ALONG)
        across = np.linspace(-_REACH, _REACH, _STEPS)
        places = start + t[None, :, None] * (end - start) + across[:, None, None] * pitch * normal
        found.append(_share(_profile(rgb, fit, places), across))
    return np.array(found)


def _profile(rgb: NDArray[np.uint8], fit: PlaneFit, places_mm: FloatArray) -> FloatArray:
    """(steps, 3) median colour at each distance from the outline."""
    height, width = rgb.shape[:2]
    px = distort(
        apply_homography(fit.px_from_mm, places_mm.reshape(-1, 2)), fit.k1, width_px=width, height_px=height
    ).astype(np.float32)
    grid = np.nan_to_num(px, nan=-1e4).reshape(places_mm.shape)
    x, y = np.ascontiguousarray(grid[..., 0]), np.ascontiguousarray(grid[..., 1])
    colours = cv2.remap(rgb, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(np.median(colours, axis=1), np.float64)


def _share(profile: FloatArray, across: FloatArray) -> float:
    smooth = gaussian_filter1d(profile, _SMOOTH, axis=0)
    change = np.abs(np.diff(smooth, axis=0)).sum(axis=1)
    middle = (across[1:] + across[:-1]) / 2
    strongest = float(change.max())
    return float(change[np.abs(middle) <= _NEAR].max() / strongest) if strongest > 0 else 0.0
