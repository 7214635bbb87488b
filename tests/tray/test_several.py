"""Several trays in one picture: each found, in reading order, or asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from canopy.errors import TrayNotFound
from canopy.records import TrayRecord
from canopy.settings import TraySettings
from canopy.synthetic.camera import look_at
from canopy.synthetic.render import render
from canopy.synthetic.scene import Neighbour
from canopy.tray import layout_from, locate_tray
from canopy.tray.several import Box, reading_order

from .board import camera, draw_board, photo_of, photograph
from .test_unaided import bare_scene

SETTINGS = TraySettings()


def reading(*boxes):
    return reading_order([Box(*box) for box in boxes], name="p.jpg", settings=SETTINGS.unaided)


def test_reading_order_is_row_by_row():
    upper_right, lower, upper_left = (500, 12, 900, 310), (60, 400, 460, 700), (40, 0, 440, 300)
    assert reading(upper_right, lower, upper_left) == [2, 0, 1]
    assert reading(lower) == [0]


def test_what_lies_aslant_is_asked_for():
    with pytest.raises(TrayNotFound, match=r"p\.jpg: two trays lie aslant of each other") as caught:
        reading((0, 0, 400, 300), (450, 180, 850, 480))  # 120 of 300 px in common
    assert caught.value.code == "which_tray"
    # A stair that falls to the left: each is beside the next and right of it, the last is below the first.
    with pytest.raises(TrayNotFound, match="the trays lie in no rows"):
        reading((600, 0, 700, 100), (300, 38, 400, 138), (0, 76, 100, 176))


def two_trays(gap_mm, *, below=False):
    """Two drawn trays without markers, and the outline corners of both in the picture."""
    scene = bare_scene("black_tray", 53)
    layout = scene.layout
    size = np.array([layout.outline_width_mm, layout.outline_height_mm])
    step = (size + gap_mm) * ((0, 1) if below else (1, 0))
    centre, span = size / 2 + step / 2, size + step
    view = look_at(
        tuple(centre), tuple(span), width_px=1400, height_px=1000, fill=0.85, distance_mm=1600.0, turn_deg=2.0
    )
    scene = replace(scene, camera=view, neighbours=(Neighbour(float(step[0]), float(step[1]), scene.plants),))
    corners = [view.project(np.column_stack([layout.outline_mm + shift, np.zeros(4)])) for shift in (0 * step, step)]
    return layout, render(scene).rgb, corners


@pytest.mark.parametrize(("gap_mm", "below"), [(40.0, False), (25.0, True), (10.0, False)])
def test_two_trays_are_found_in_reading_order(gap_mm, below):
    layout, rgb, corners = two_trays(gap_mm, below=below)
    for place, truth in enumerate(corners, start=1):
        record = TrayRecord(tray=f"t{place}", layout=layout, trays_in_picture=2, place=place)
        frame = locate_tray(photo_of(rgb), record, settings=SETTINGS)
        assert frame.located_by == f"outline, tray {place} of 2"
        pitch_px = min(layout.pitch_x_mm, layout.pitch_y_mm) / frame.mm_per_px
        # A quarter of the pitch still gives every plant to its cell.
        assert np.hypot(*(frame.to_px(layout.outline_mm) - truth).T).max() < 0.25 * pitch_px


def test_another_number_of_trays_is_asked_for():
    layout, rgb, _ = two_trays(60.0)
    record = TrayRecord(tray="t", layout=layout, trays_in_picture=3, place=1)
    with pytest.raises(TrayNotFound, match="2 whole trays are seen, the tray list names 3; photograph each") as caught:
        locate_tray(photo_of(rgb), record, settings=SETTINGS)
    assert caught.value.code == "which_tray"


LAYOUT = layout_from("3x5", pitch_mm="50x50", outline_mm="260x160")


def two_boards(markers=((0, 1, 2, 3), (0, 1, 2, 3))):
    """Two printed boards side by side, as one photo, and the corners of both."""
    view = camera(width_px=900, height_px=620, focal_px=1050.0, at_mm=(130.0, 80.0))
    photos = [photograph(draw_board(LAYOUT, markers=ids), view, focal_known=False) for ids in markers]
    corners = view.project(LAYOUT.outline_mm)
    return photo_of(np.concatenate([photo.rgb for photo in photos], axis=1)), (corners, corners + np.array([900, 0]))


def test_trays_are_told_apart_by_their_markers():
    photo, corners = two_boards()
    for place, truth in enumerate(corners, start=1):
        record = TrayRecord(tray="t", layout=LAYOUT, trays_in_picture=2, place=place)
        frame = locate_tray(photo, record, settings=SETTINGS)
        assert frame.located_by == f"markers, tray {place} of 2"
        np.testing.assert_allclose(frame.to_px(LAYOUT.outline_mm), truth, atol=0.6)  # corners are seen to 0.1 to 0.3 px


def test_a_hidden_marker_among_several_trays_is_asked_for():
    photo, _ = two_boards(((0, 1, 2, 3), (0, 1, 2)))
    record = TrayRecord(tray="t", layout=LAYOUT, trays_in_picture=2, place=1)
    with pytest.raises(
        TrayNotFound, match=r"1 sets of 4 corner markers fit layout 3x5, the tray list names 2 trays"
    ) as no:
        locate_tray(photo, record, settings=SETTINGS)
    assert no.value.code == "which_tray"
