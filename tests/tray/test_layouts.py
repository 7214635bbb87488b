"""Layouts by name and free ones."""

import pytest

from canopy.errors import UsageError
from canopy.tray.layouts import layout_from, layouts_from_toml, named_layouts


@pytest.mark.parametrize(
    ("name", "pitch_x", "pitch_y"),
    [
        # Outer size 539.0 × 279.4 mm less two rims, over the cells (supplier sheets): (539.0 − 2·9.4)/12 = 43.35.
        ("72", 43.35, 43.43),
        ("50", 52.02, 52.12),
        ("98", 37.16, 37.23),
        ("128", (539.0 - 15.8) / 16, (279.4 - 15.8) / 8),
        ("200", (539.0 - 12.8) / 20, (279.4 - 12.8) / 10),
        ("288", 539.0 / 24, 279.4 / 12),
        # 600 × 400 over the cells: common practice, no source.
        ("60", 60.0, 400 / 6),
        ("104", 600 / 13, 50.0),
        ("384", 25.0, 25.0),
    ],
)
def test_pitches(name, pitch_x, pitch_y):
    layout = named_layouts()[name]
    # The table keeps two decimals.
    assert (layout.pitch_x_mm, layout.pitch_y_mm) == pytest.approx((pitch_x, pitch_y), abs=0.006)


@pytest.mark.parametrize("name", list(named_layouts()))
def test_every_named_layout_fits_and_says_its_source(name):
    layout = named_layouts()[name]
    assert layout.columns * layout.pitch_x_mm <= layout.outline_width_mm + 1e-6
    assert layout.rows * layout.pitch_y_mm <= layout.outline_height_mm + 1e-6
    assert layout.source
    digits = "".join(c for c in name.removeprefix("mat") if c.isdigit())
    assert layout.kind == "mat" or layout.cells == int(digits)


def test_mat_tiles_are_30_to_50_mm():
    for name in ("mat540", "mat600"):
        layout = named_layouts()[name]
        assert 30 <= layout.pitch_y_mm <= 50
        assert 30 <= layout.pitch_x_mm <= 50


@pytest.mark.parametrize(("pitch", "expected"), [("51x52", (51, 52)), ("51", (51, 51)), (51.5, (51.5, 51.5)),
                                                 ("43,4 x 43.5", (43.4, 43.5)), ((50.0, 40.0), (50, 40))])  # fmt: skip
def test_free_layout_by_pitch(pitch, expected):
    layout = layout_from("6x12", pitch_mm=pitch)
    assert (layout.rows, layout.columns) == (6, 12)
    assert (layout.pitch_x_mm, layout.pitch_y_mm) == expected
    assert (layout.outline_width_mm, layout.outline_height_mm) == pytest.approx((12 * expected[0], 6 * expected[1]))


def test_free_layout_by_outline():
    layout = layout_from("4x5", outline_mm="400x300")
    assert (layout.pitch_x_mm, layout.pitch_y_mm) == (80, 75)  # 400/5, 300/4


def test_named_layout_with_own_sizes():
    layout = layout_from("72", pitch_mm="43", outline_mm="545x281", marker_mm="30", marker_offset_mm="0")
    assert (layout.pitch_x_mm, layout.outline_width_mm) == (43, 545)
    assert (layout.markers.side_mm, layout.markers.offset_mm) == (30, 0)
    assert layout.source == "given"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"name": "73"}, "layout `73` is not known, did you mean `7"),
        ({"name": "raft6"}, "did you mean `raft60`.*known are 50, 72"),
        ({"name": "6x12"}, "give `pitch_mm` or `outline_mm`"),
        ({"name": "0x12", "pitch_mm": "50"}, "count from 1"),
        ({"name": "72", "pitch_mm": "wide"}, "`pitch_mm`: `wide` is not a size"),
        ({"name": "72", "pitch_mm": 0.0}, "`pitch_mm`: `0.0` must be above 0"),
        ({"name": "72", "outline_mm": "100x100"}, "correct `pitch_mm` or `outline_mm`"),
        ({"name": "72", "marker_mm": "900"}, "side_mm.*less than or equal to 200"),
    ],
)
def test_wrong_layouts_name_the_mend(arguments, message):
    with pytest.raises(UsageError, match=message):
        layout_from(**arguments)


OWN = """
[[layout]]
name = "MyTray"
rows = 5
columns = 8
pitch_mm = "48x50"
outline_mm = "400x270"
[[layout]]
name = "board"
rows = 3
columns = 7
outline_mm = "700x300"
kind = "raft"
[outputs]
top_picks = 3
"""


def test_own_layouts_of_a_settings_file():
    mine, board = layouts_from_toml(OWN, source_name="canopy.toml").values()
    assert (mine.name, mine.rows, mine.columns, mine.pitch_x_mm, mine.pitch_y_mm) == ("mytray", 5, 8, 48, 50)
    assert (mine.outline_width_mm, mine.outline_height_mm, mine.kind) == (400, 270, "cells")
    assert (board.pitch_x_mm, board.pitch_y_mm, board.kind) == (100, 100, "raft")  # 700 / 7, 300 / 3
    assert layout_from("MYTRAY", own={"mytray": mine}, marker_mm=25).markers.side_mm == 25
    with pytest.raises(UsageError, match="did you mean `mytray`"):
        layout_from("mytry", own={"mytray": mine})
    assert layouts_from_toml("[outputs]\ntop_picks = 3\n", source_name="canopy.toml") == {}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("layout = 3", "canopy.toml: layout: write each layout under its own"),
        ('[[layout]]\nname = "a"\nrows = 2', "canopy.toml: layout a: `columns` is missing; write name, rows, columns"),
        ('[[layout]]\nname = "a"\nrows = 2\ncolumns = 3\nbig = 1', "layout a: `big` is not known; write name"),
        (
            '[[layout]]\nname = "72"\nrows = 2\ncolumns = 3\npitch_mm = 9',
            "layout 72: the name is taken; choose another",
        ),
        ('[[layout]]\nname = "2x3"\nrows = 2\ncolumns = 3\npitch_mm = 9', "`2x3` is no name for a layout"),
        ('[[layout]]\nname = "auto"\nrows = 2\ncolumns = 3\npitch_mm = 9', "`auto` is no name for a layout"),
        ('[[layout]]\nname = "a"\nrows = 2\ncolumns = 3', "layout a: layout `2x3`: its size is not known"),
        ('[[layout]]\nname = "a"\nrows = 2\ncolumns = 3\npitch_mm = 9\nkind = "pot"', "layout a: kind: String should"),
    ],
)
def test_own_layouts_that_cannot_be_used(text, message):
    with pytest.raises(UsageError, match=message):
        layouts_from_toml(text, source_name="canopy.toml")
