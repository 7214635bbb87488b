"""What a person has painted or said of cells, put over what was seen: certain, and before anything is measured."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.records import ByHand, Layout, Stroke
from canopy.segment.result import Segmentation
from canopy.tray.rectify import Rectified

_SUBPIXEL_BITS = 4


def set_right(
    segmentation: Segmentation, rectified: Rectified, layout: Layout, *, by_hand: ByHand | None
) -> Segmentation:
    """The segmentation with strokes painted in their order, then cells without a living plant cleared.

    What is painted as plant belongs to the cell whose centre is nearest. What was given is not changed.
    """
    if by_hand is None:
        return segmentation
    cover, owner, doubt = segmentation.cover.copy(), segmentation.owner.copy(), segmentation.doubt.copy()
    contact, disputed = segmentation.contact.copy(), segmentation.disputed.copy()
    for stroke in by_hand.strokes:
        under = _under(stroke, rectified)
        cover[under] = float(stroke.plant)
        owner[under] = _nearest_cells(under, rectified, layout) if stroke.plant else 0
        doubt[under] = 0.0
    numbers = {name: number for number, name in enumerate(layout.names(), start=1)}
    for cell, state in by_hand.states:
        number = numbers.get(cell)
        if number is not None and state != "planted":
            own = owner == number
            cover[own], owner[own], doubt[own] = 0.0, 0, 0.0
            contact[number - 1] = disputed[number - 1] = np.nan
    return replace(segmentation, cover=cover, owner=owner, doubt=doubt, contact=contact, disputed=disputed)


def _under(stroke: Stroke, rectified: Rectified) -> NDArray[np.bool_]:
    """(M, N) pixels that the brush went over."""
    points = rectified.to_px(np.array(stroke.points_mm, np.float64))
    # A brush of some hundred pixels is painted in whole pixels; where it went, in parts of them.
    places = np.round(points * (1 << _SUBPIXEL_BITS)).astype(np.int32)
    radius = max(1, round(stroke.radius_mm / rectified.mm_per_px))
    under = np.zeros(rectified.rgb.shape[:2], np.uint8)
    cv2.polylines(under, [places], False, 1, 2 * radius, cv2.LINE_8, _SUBPIXEL_BITS)
    for x, y in places[[0, -1]]:
        centre = (int(x), int(y))
        cv2.circle(under, centre, radius << _SUBPIXEL_BITS, 1, -1, cv2.LINE_8, _SUBPIXEL_BITS)
    return under.view(bool) & rectified.inside


def _nearest_cells(under: NDArray[np.bool_], rectified: Rectified, layout: Layout) -> NDArray[np.uint16]:
    """Number of the cell nearest to each of these pixels."""
    rows, columns = np.nonzero(under)
    places = rectified.to_mm(np.stack([columns, rows], axis=1).astype(np.float64))
    centres = layout.centres_mm()
    nearest = np.empty(len(places), np.uint16)
    step = max(1, 4_000_000 // len(centres))  # some 30 MB of distances at a time
    for start in range(0, len(places), step):
        part = places[start : start + step]
        apart = (part[:, None, 0] - centres[None, :, 0]) ** 2 + (part[:, None, 1] - centres[None, :, 1]) ** 2
        nearest[start : start + step] = np.argmin(apart, axis=1) + 1
    return nearest
