"""The tray's outline as a quadrilateral: first a rectangle around what was seen, then its sides moved onto the edge."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.records import Layout
from canopy.settings.unaided import UnaidedSettings
from canopy.tray.sight import Sight

FloatArray = NDArray[np.float64]
FloatImage = NDArray[np.float32]

_ROUNDS_PX = (10.0, 6.0, 4.0, 4.0)  # reach of the search across a side, thumbnail pixels, round by round
_STEP_PX = 0.5
_POINTS = 40  # along a side
_ENDS = 0.06  # share of a side left out at its ends, where corners are round
_QUARTER = math.pi / 2 + 1e-6


@dataclass(frozen=True)
class Outline:
    """Four corners in thumbnail pixels, in the layout's order (0 by A1, clockwise).

    Attributes
    ----------
    corners : (4, 2) ndarray
    inside, outside : float
        Mean probability of this tray inside the corners, and in a band around them.
    """

    corners: FloatArray
    inside: float
    outside: float


def find_outlines(sight: Sight, layout: Layout, *, settings: UnaidedSettings) -> list[Outline]:
    """Outlines of this tray that its layout allows; none when no tray is seen (see `see_outline`, `named_for`)."""
    seen = see_outline(sight, settings=settings)
    return [] if seen is None else named_for(layout, seen, settings=settings)


def see_outline(sight: Sight, *, settings: UnaidedSettings) -> Outline | None:
    """The outline of this tray, its corners clockwise from any; None when no tray is seen."""
    rectangle = _rectangle(sight.this_tray, settings)
    if rectangle is None:
        return None
    corners = fit_sides(sight.this_tray, rectangle)
    if not np.isfinite(corners).all():
        return None
    return Outline(corners, *_contrast(sight.this_tray, corners))


def named_for(layout: Layout, seen: Outline, *, settings: UnaidedSettings) -> list[Outline]:
    """An outline with its corners in the layout's order, each way that its shape allows, best first.

    A tray turned by 180° looks the same, so the orientation nearest to upright is taken: A1 in the upper half. A layout
    about as wide as high can also lie turned by 90°: then both are given.
    """
    return [replace(seen, corners=corners) for corners in _orders(seen.corners, layout, settings)]


def _rectangle(seen: FloatImage, settings: UnaidedSettings) -> FloatArray | None:
    """Smallest rectangle around the largest connected part, corners clockwise; None if there is none large enough."""
    mask = (seen > settings.seen_from).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask)
    if count < 2:
        return None
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    if stats[largest, cv2.CC_STAT_AREA] < settings.min_area_share * mask.size:
        return None
    points = np.argwhere(labels == largest)[:, ::-1].astype(np.float32)
    corners = np.asarray(cv2.boxPoints(cv2.minAreaRect(points)), np.float64)
    edges = np.roll(corners, -1, axis=0) - corners
    return corners if edges[0, 0] * edges[1, 1] - edges[0, 1] * edges[1, 0] > 0 else corners[::-1].copy()


def fit_sides(seen: FloatImage, corners: FloatArray) -> FloatArray:
    """Move each side of a clockwise quadrilateral onto the edge of a soft mask; (4, 2) → (4, 2), same order.

    Across a side the mask falls from 1 to 0; its sum along a stretch that reaches as far inside as outside tells where,
    finer than a pixel. A line is fitted to these places, weighting down what strays; corners are where lines meet.
    """
    for reach in _ROUNDS_PX:
        lines = [_side_line(seen, corners[k], corners[(k + 1) % 4], reach) for k in range(4)]
        corners = np.array([_meet(lines[k - 1], lines[k]) for k in range(4)])
        if not np.isfinite(corners).all():
            break
    return corners


def _side_line(seen: FloatImage, start: FloatArray, end: FloatArray, reach: float) -> FloatArray:
    """Line (a, b, c) with a·x + b·y = c through the mask's edge beside the side from start to end."""
    at, offset, contrast = _edge_beside(seen, start, end, reach)
    length = float(np.hypot(*(end - start)))
    unit = (end - start) / max(length, 1e-9)
    normal = np.array([unit[1], -unit[0]])
    weight = contrast**2
    for _ in range(4):
        slope, shift = np.polyfit(at, offset, 1, w=np.sqrt(weight))
        weight = contrast**2 / (1 + np.square(offset - slope * at - shift))
    first, last = (start + unit * t + normal * (slope * t + shift) for t in (0.0, length))
    direction = (last - first) / max(float(np.hypot(*(last - first))), 1e-9)
    out = np.array([direction[1], -direction[0]])
    return np.array([out[0], out[1], out @ first])


def _edge_beside(
    seen: FloatImage, start: FloatArray, end: FloatArray, reach: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Along a side: places, how far outwards the mask's edge lies there, and how clearly it falls (0..1), in pixels."""
    along = end - start
    length = float(np.hypot(*along))
    unit = along / max(length, 1e-9)
    normal = np.array([unit[1], -unit[0]])  # outwards of a clockwise quadrilateral, y down
    at = np.linspace(_ENDS, 1 - _ENDS, _POINTS) * length
    across = np.arange(-reach, reach + _STEP_PX / 2, _STEP_PX)
    x = start[0] + at[:, None] * unit[0] + across * normal[0]
    y = start[1] + at[:, None] * unit[1] + across * normal[1]
    profile = cv2.remap(
        seen, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    offset = profile.sum(axis=1) * _STEP_PX - reach - _STEP_PX / 2
    contrast = np.clip(profile[:, :2].mean(axis=1) - profile[:, -2:].mean(axis=1), 0.02, 1)
    return at, np.asarray(offset, np.float64), np.asarray(contrast, np.float64)


def side_offsets(seen: FloatImage, corners: FloatArray, *, reach: FloatArray) -> FloatArray:
    """How far outside of each side of a clockwise quadrilateral the mask's edge lies, in thumbnail pixels; (4,).

    Parameters
    ----------
    seen : (m, n) float32 ndarray
    corners : (4, 2) ndarray
    reach : (4,) ndarray
        How far it is sought, for each side.
    """
    offsets = []
    for k in range(4):
        _, offset, contrast = _edge_beside(seen, corners[k], corners[(k + 1) % 4], float(reach[k]))
        order = np.argsort(offset)
        total = np.cumsum(contrast[order])
        offsets.append(offset[order][np.searchsorted(total, total[-1] / 2)])
    return np.array(offsets)


def _meet(one: FloatArray, two: FloatArray) -> FloatArray:
    determinant = one[0] * two[1] - one[1] * two[0]
    if abs(determinant) < 0.1:
        return np.full(2, np.nan)
    x = (one[2] * two[1] - one[1] * two[2]) / determinant
    y = (one[0] * two[2] - one[2] * two[0]) / determinant
    return np.array([x, y])


def _orders(corners: FloatArray, layout: Layout, settings: UnaidedSettings) -> list[FloatArray]:
    """Ways to name the corners that suit the layout's width : height, best first, each nearest to upright."""
    wanted = math.log(layout.outline_width_mm / layout.outline_height_mm)
    choices = []
    for first in range(4):
        ordered = np.roll(corners, -first, axis=0)
        row = (ordered[1] - ordered[0] + ordered[2] - ordered[3]) / 2
        column = (ordered[3] - ordered[0] + ordered[2] - ordered[1]) / 2
        miss = abs(math.log(max(np.hypot(*row), 1e-9) / max(np.hypot(*column), 1e-9)) - wanted)
        turned = math.atan2(row[1], row[0])
        # Exactly a quarter turn either way is the same two places: one of them is enough.
        if miss <= settings.aspect_log and 2e-6 - _QUARTER < turned <= _QUARTER:
            choices.append((miss, abs(turned), first))
    choices.sort()
    return [np.roll(corners, -first, axis=0) for _, _, first in choices]


def _contrast(seen: FloatImage, corners: FloatArray) -> tuple[float, float]:
    """Mean of the mask inside the corners and in a band of an eighth of the size around them."""
    centre = corners.mean(axis=0)
    inner, outer = (np.zeros(seen.shape, np.uint8) for _ in range(2))
    cv2.fillPoly(inner, [np.rint(corners * 16).astype(np.int32)], (1,), cv2.LINE_8, 4)
    cv2.fillPoly(outer, [np.rint((centre + (corners - centre) * 1.25) * 16).astype(np.int32)], (1,), cv2.LINE_8, 4)
    ring = (outer > 0) & (inner == 0)
    return (
        float(seen[inner > 0].mean()) if inner.any() else 0.0,
        float(seen[ring].mean()) if ring.any() else 0.0,
    )
