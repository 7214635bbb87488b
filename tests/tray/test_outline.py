"""Corners of an outline from a soft mask that was drawn from known corners; never a square picture."""

import cv2
import numpy as np
import pytest

from canopy.settings.unaided import UnaidedSettings
from canopy.tray.layouts import layout_from
from canopy.tray.outline import find_outlines, fit_sides, side_offsets
from canopy.tray.sight import Sight

SETTINGS = UnaidedSettings()
SIZE = (144, 192)
WIDE = layout_from("72")  # 540 × 280 mm
SLANTED = np.array([[41.3, 30.2], [150.7, 41.9], [141.2, 104.6], [33.8, 85.1]])  # clockwise from the upper left


def mask_of(corners, *, blur=1.0):
    """A mask with edges as soft as the network's, by drawing 8 times as large."""
    fine = np.zeros((SIZE[0] * 8, SIZE[1] * 8), np.uint8)
    points = np.rint((corners + 0.5) * 8 - 0.5).astype(np.int32)
    cv2.fillPoly(fine, [points], 255)
    mask = cv2.resize(fine, SIZE[::-1], interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    return cv2.GaussianBlur(mask, (0, 0), blur)


def sight_of(mask):
    return Sight(mask, mask, np.zeros_like(mask), 10.0)


def test_sides_move_onto_the_edge():
    near = SLANTED + np.array([[3, -2], [-2, 3], [2, 2], [-3, -3.0]])
    # An eighth of a pixel from drawing, plus what the blur rounds off near the corners.
    np.testing.assert_allclose(fit_sides(mask_of(SLANTED), near), SLANTED, atol=0.35)


def test_outline_in_reading_order():
    (outline,) = find_outlines(sight_of(mask_of(SLANTED)), WIDE, settings=SETTINGS)
    np.testing.assert_allclose(outline.corners, SLANTED, atol=0.35)
    assert outline.inside > 0.95
    assert outline.outside < 0.2


@pytest.mark.parametrize(("turn_deg", "first"), [(0, 0), (60, 0), (-80, 0), (100, 2), (180, 2), (-120, 2)])
def test_nearest_to_upright_of_the_two_ways(turn_deg, first):
    # Turned by more than a quarter of a turn, the tray looks upright from its other end.
    angle = np.radians(turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    corners = (WIDE.outline_mm - (270, 140)) / 4.5 @ turn.T + (96, 72)
    (outline,) = find_outlines(sight_of(mask_of(corners)), WIDE, settings=SETTINGS)
    np.testing.assert_allclose(outline.corners, np.roll(corners, -first, axis=0), atol=0.5)


def test_square_outline_can_lie_two_ways():
    square = layout_from("5x10", pitch_mm="30", outline_mm="310x310")
    corners = square.outline_mm / 3 + (40, 20)
    first, second = find_outlines(sight_of(mask_of(corners)), square, settings=SETTINGS)
    assert not np.allclose(first.corners, second.corners, atol=5)
    for outline in (first, second):
        row = outline.corners[1] - outline.corners[0]
        assert row[0] > -1  # never upside down: along the row runs to the right, or straight up or down


def test_another_shape_or_nothing_gives_none():
    tall = WIDE.outline_mm[:, ::-1][[0, 3, 2, 1]] * (1.0, 0.6) / 4 + (50, 10)  # 280 × 324 mm
    assert find_outlines(sight_of(mask_of(tall)), WIDE, settings=SETTINGS) == []
    assert find_outlines(sight_of(np.zeros(SIZE, np.float32)), WIDE, settings=SETTINGS) == []
    speck = WIDE.outline_mm / 30 + (50, 50)
    assert find_outlines(sight_of(mask_of(speck)), WIDE, settings=SETTINGS) == []


def test_offsets_say_on_which_side_the_mask_reaches_out():
    corners = np.array([[40, 30], [150, 30], [150, 100], [40, 100.0]])
    seen = corners + np.array([[0, -3], [2, -3], [2, 0], [0, 0.0]])  # 3 px above, 2 px to the right
    offsets = side_offsets(mask_of(seen), corners, reach=np.full(4, 8.0))
    np.testing.assert_allclose(offsets, [3, 2, 0, 0], atol=0.2)  # drawn to an eighth of a pixel
