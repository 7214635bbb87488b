"""Drawings: where things land, and that decisions can be told apart without colour."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from canopy.outputs.legend import scale_bar_mm, sign_items
from canopy.outputs.marks import draw_sign, draw_sign_letter, pen
from canopy.outputs.overlays import draw_overlay, jpeg_bytes, shrink
from canopy.pictures.palette import LOOKS, UNDECIDED, YELLOW, look_of

from .conftest import LAYOUT, MARGIN_MM

# 150 mm of tray and rim strips; the picture shows the outline and 6 % of 170 mm (10.2) around it: from 9 to 201 px.
LEFT_PX, TOP_PX, SCALE = 9, 9, 3.0


def _near(picture, colour):
    return np.all(np.abs(picture.astype(int) - colour) < 40, axis=2)


def _place(x_mm, y_mm):
    return ((np.array([x_mm, y_mm]) + MARGIN_MM - (LEFT_PX, TOP_PX) + 0.5) * SCALE - 0.5).round().astype(int)


def test_the_picture_is_cut_to_the_tray_and_never_blown_up_beyond_use(worked):
    picture = draw_overlay(worked, LAYOUT, long_side_px=2000)
    assert picture.dtype == np.uint8
    assert picture.shape[1] == 3 * (201 - 9)  # three times at most
    assert draw_overlay(worked, LAYOUT, long_side_px=300).shape[1] == 300


def test_leaf_outlines_lie_on_the_leaves(worked):
    picture = draw_overlay(worked, LAYOUT, long_side_px=2000)
    yellow = _near(picture, YELLOW)
    x, y = LAYOUT.centres_mm()[0]
    around = [_place(x + 19.5 * np.cos(a), y + 19.5 * np.sin(a)) for a in np.linspace(-1.2, 1.2, 25)]
    # The line runs through the outermost pixel centres, which lie 0 to 1 mm inside the disc: 0.5 mm or 1.5 pixels
    # either way, and half of the line's width.
    assert all(yellow[v - 2 : v + 3, u - 2 : u + 3].any() for u, v in around)
    u, v = _place(x, y)
    assert not yellow[v - 15 : v + 16, u - 15 : u + 16].any()


def test_picked_cells_have_a_bold_frame_and_others_have_not(worked):
    picture = draw_overlay(worked, LAYOUT, long_side_px=2000)
    for cell, (x, y) in zip(LAYOUT.names(), LAYOUT.centres_mm(), strict=True):
        u, v = _place(x + 0.47 * 50, y + 5)  # on the right edge of the frame
        framed = _near(picture[v : v + 1, u - 3 : u + 4], LOOKS["harvest"].fill).any()
        assert framed == (cell in ("A1", "B2")), cell


def test_signs_stand_upright_at_the_upper_left_however_the_tray_lies(worked, turned):
    green = LOOKS["harvest"].fill
    for scene, (x_mm, y_mm) in ((worked, LAYOUT.centres_mm()[0]), (turned, 170 - LAYOUT.centres_mm()[0])):
        picture = draw_overlay(scene, LAYOUT, long_side_px=2000)
        if scene is turned:
            x_mm, y_mm = LAYOUT.outline_mm[2] - LAYOUT.centres_mm()[0]
        u, v = _place(x_mm - 25 + 1.35 * 0.076 * 50, y_mm - 25 + 1.35 * 0.076 * 50)
        disc = _near(picture[v - 8 : v + 9, u - 8 : u + 9], green)
        assert disc.mean() > 0.4


def test_the_input_is_not_drawn_on(worked):
    before = worked.photo.rgb.copy()
    draw_overlay(worked, LAYOUT, long_side_px=500)
    np.testing.assert_array_equal(worked.photo.rgb, before)


def test_the_same_picture_twice(worked):
    one, other = (jpeg_bytes(draw_overlay(worked, LAYOUT, long_side_px=900), quality=85) for _ in range(2))
    assert one == other


def test_decisions_differ_in_grey_without_their_letter_and_by_letter_alone():
    shapes, letters = {}, {}
    for name, look in LOOKS.items():
        picture = np.full((60, 60, 3), 128, np.uint8)
        draw_sign(picture, look, centre=(30.0, 30.0), radius_px=20)
        shapes[name] = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY).astype(float)
        letters[name] = look.letter
    names = list(LOOKS)
    assert len(set(letters.values())) == len(names)
    for i, one in enumerate(names):
        for other in names[i + 1 :]:
            # The share of the sign's square that differs plainly when printed in grey.
            assert (np.abs(shapes[one] - shapes[other]) > 40).mean() > 0.05, (one, other)


@pytest.mark.parametrize("name", ["harvest", "transplant", "inspect", "wait"])
def test_letters_stand_out_from_their_sign(name):
    look = LOOKS[name]
    picture = np.full((80, 80, 3), 128, np.uint8)
    draw_sign(picture, look, centre=(40.0, 40.0), radius_px=30)
    image, draw = pen(picture)
    draw_sign_letter(draw, look, centre=(40.0, 40.0), radius_px=30)
    written = np.abs(np.array(image).astype(int) - picture).max(axis=2) > 60
    assert 0.02 < written.mean() < 0.3
    assert _contrast(look.fill, look.ink) >= 3.0  # WCAG 2.1, 1.4.11: graphical objects


def _contrast(a, b):
    """Contrast ratio of WCAG 2.1 (definition of relative luminance there, from memory)."""
    lighter, darker = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour):
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in colour)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_an_unknown_decision_has_no_sign(reading):
    assert look_of(reading.cells["decision"].iloc[5]) is UNDECIDED
    assert look_of(float("nan")) is UNDECIDED


def test_the_legend_names_what_occurs_with_its_count(reading):
    assert sign_items(reading.cells["decision"]) == [
        ("harvest", "2 harvest: cut now"),
        ("inspect", "1 inspect: look at it first"),
        ("wait", "1 wait: leave it to grow"),
        ("empty", "1 empty: no living plant"),
    ]


@pytest.mark.parametrize(
    ("width_px", "mm_per_px", "length"), [(2000, 0.3, 100), (1000, 0.5, 100), (60, 0.5, 5), (20, 0.5, 5)]
)
def test_the_scale_bar_is_round_and_takes_at_most_three_tenths(width_px, mm_per_px, length):
    assert scale_bar_mm(width_px, mm_per_px=mm_per_px) == length


def test_the_scale_bar_is_as_long_as_it_says(worked):
    picture = draw_overlay(worked, LAYOUT, long_side_px=2000)
    strip = picture[3 * (141 - 9) :]
    rows = np.flatnonzero((strip[:, : 576 // 2] < 20).all(axis=2).sum(axis=1) > 60)
    row = strip[rows[0], : 576 // 2]
    black = np.flatnonzero((row < 20).all(axis=1))
    bar = np.split(black, np.flatnonzero(np.diff(black) > 1) + 1)[0]  # what comes after it is text
    # 50 mm at 1/3 mm per pixel, ends rounded to whole pixels.
    assert bar[-1] - bar[0] + 1 == pytest.approx(150, abs=1)


def test_pictures_shrink_and_never_grow():
    picture = np.zeros((300, 600, 3), np.uint8)
    assert shrink(picture, long_side_px=200).shape == (100, 200, 3)
    assert shrink(picture, long_side_px=900) is picture


def test_jpeg_keeps_the_order_of_colours():
    data = jpeg_bytes(np.full((16, 16, 3), (200, 30, 30), np.uint8), quality=95)
    back = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
    assert np.abs(back[8, 8].astype(int) - (200, 30, 30)).max() < 6  # JPEG of one flat colour
