"""What a person paints or says of cells is put over what was seen, and nothing else changes."""

from __future__ import annotations

import numpy as np
import pytest

from canopy.records import ByHand, Layout, Stroke
from canopy.segment.by_hand import set_right
from canopy.segment.result import Segmentation
from canopy.tray.rectify import Rectified

LAYOUT = Layout(name="2x3", rows=2, columns=3, pitch_x_mm=40, pitch_y_mm=40, outline_width_mm=120, outline_height_mm=80)
HEIGHT, WIDTH = 100, 140  # 1 mm a pixel, 10 mm around the outline
SEEN = Rectified(np.zeros((HEIGHT, WIDTH, 3), np.uint8), np.ones((HEIGHT, WIDTH), bool), 1.0, -10.0, -10.0)


@pytest.fixture
def segmentation():
    """A square of 20 mm in the middle of each cell."""
    owner = np.zeros((HEIGHT, WIDTH), np.uint16)
    for number, (x, y) in enumerate(LAYOUT.centres_mm() + 10, start=1):
        owner[int(y) - 10 : int(y) + 10, int(x) - 10 : int(x) + 10] = number
    cover = (owner > 0).astype(np.float32)
    return Segmentation(cover, owner, 0.1 * cover, np.full(6, 0.2), np.full(6, 0.1), 1.0)


def _areas(segmentation):
    return [float(segmentation.cover[segmentation.owner == number].sum()) for number in range(1, 7)]


def test_nothing_said_is_nothing_changed(segmentation):
    assert set_right(segmentation, SEEN, LAYOUT, by_hand=None) is segmentation


@pytest.mark.parametrize("state", ["empty", "dead"])
def test_a_cell_without_a_living_plant_is_cleared_and_no_other(segmentation, state):
    right = set_right(segmentation, SEEN, LAYOUT, by_hand=ByHand(states=(("A2", state),)))
    assert _areas(right) == [400, 0, 400, 400, 400, 400]
    assert np.isnan(right.contact[1])
    assert not np.isnan(right.contact[[0, 2, 3, 4, 5]]).any()
    assert _areas(segmentation) == [400] * 6  # what was given stays


def test_planted_makes_up_nothing(segmentation):
    right = set_right(segmentation, SEEN, LAYOUT, by_hand=ByHand(states=(("A2", "planted"),)))
    assert _areas(right) == [400] * 6


def test_a_cell_that_is_not_there_is_passed_over(segmentation):
    assert _areas(set_right(segmentation, SEEN, LAYOUT, by_hand=ByHand(states=(("Z9", "empty"),)))) == [400] * 6


def test_a_stroke_takes_away_what_lies_under_it(segmentation):
    # Straight across the middle of row A's plants, 4 mm to either side: 8 or 9 of 20 rows of pixels.
    stroke = Stroke(plant=False, radius_mm=4, points_mm=((0, 20), (120, 20)))
    right = set_right(segmentation, SEEN, LAYOUT, by_hand=ByHand(strokes=(stroke,)))
    areas = _areas(right)
    assert areas[3:] == [400] * 3
    assert all(400 - 20 * 9 <= area <= 400 - 20 * 8 for area in areas[:3])


def test_what_is_painted_belongs_to_the_nearest_cell_and_is_certain(segmentation):
    stroke = Stroke(plant=True, radius_mm=5, points_mm=((40, 20),))  # between A1 and A2, their border at 40 mm
    right = set_right(segmentation, SEEN, LAYOUT, by_hand=ByHand(strokes=(stroke,)))
    gained = np.array(_areas(right)) - 400
    # A disc of 5 mm: 78.5 mm², drawn in whole pixels; half of it on either side of the border.
    assert gained[:2].sum() == pytest.approx(78.5, abs=12)
    assert abs(gained[0] - gained[1]) <= 12
    assert right.doubt[30, 50] == 0  # the pixel at 40 mm, 20 mm


def test_the_later_stroke_counts(segmentation):
    across = ((0.0, 20.0), (120.0, 20.0))
    away, back = (Stroke(plant=plant, radius_mm=4, points_mm=across) for plant in (False, True))
    right = set_right(segmentation, SEEN, LAYOUT, by_hand=ByHand(strokes=(away, back)))
    assert all(area > 400 for area in _areas(right)[:3])
    gone = set_right(segmentation, SEEN, LAYOUT, by_hand=ByHand(strokes=(back, away)))
    assert all(area < 400 for area in _areas(gone)[:3])


def test_strokes_beyond_the_picture_do_no_harm(segmentation):
    stroke = Stroke(plant=True, radius_mm=5, points_mm=((-500, -500), (900, -500)))
    assert _areas(set_right(segmentation, SEEN, LAYOUT, by_hand=ByHand(strokes=(stroke,)))) == [400] * 6
