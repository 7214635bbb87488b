"""The tray list: what lines mean, which line a photo belongs to, and errors that name file, line, column and mend."""

from __future__ import annotations

from datetime import date

import pytest

from canopy.batch.trays_csv import absent_photos, lines_for, trays_from_csv
from canopy.errors import PhotoError, UsageError
from canopy.readiness import known_recipes
from canopy.records import Treatment
from canopy.tray import layout_from, named_layouts


def _trays(text):
    return trays_from_csv(text, source_name="trays.csv", recipes=known_recipes())


def _one(header, line):
    return _trays(f"{header}\n{line}\n").lines[0]


def test_a_full_line():
    line = _one(
        "photo,tray,layout,crop,stage,sown_on,pitch_mm,outline_mm,markers,marker_mm,marker_offset_mm,"
        "camera_height_mm,canopy_height_mm,corners,treated_on,product,interval_days",
        "a.jpg,R1,2x3,butterhead,seedling,2026-03-01,51x52,170x120,no,24,18,"
        "900,35,1 2 301 4 299.5 206 3 208,2026-03-02,soap,7",
    )
    record = line.record
    assert record is not None
    assert (line.number, line.photo, line.problem) == (2, "a.jpg", "")
    assert (record.tray, record.crop, record.stage, record.sown_on) == (
        "R1",
        "butterhead",
        "seedling",
        date(2026, 3, 1),
    )
    layout = record.layout
    assert (layout.rows, layout.columns, layout.pitch_x_mm, layout.pitch_y_mm) == (2, 3, 51, 52)
    assert (layout.outline_width_mm, layout.outline_height_mm) == (170, 120)
    assert (layout.markers.side_mm, layout.markers.offset_mm) == (24, 18)
    assert record.has_markers is False
    assert (record.camera_height_mm, record.canopy_height_mm) == (900, 35)
    assert record.corners_px == ((1, 2), (301, 4), (299.5, 206), (3, 208))
    assert record.treatments == (Treatment(applied_on=date(2026, 3, 2), product="soap", interval_days=7),)
    assert line.recipe is known_recipes()["butterhead", "seedling"]


def test_what_is_empty_is_unknown():
    line = _one("photo,tray,layout,crop,stage,sown_on,markers", ",R1,72,,,,")
    assert line.record is not None
    assert line.recipe is None
    record = line.record
    assert (record.sown_on, record.has_markers, record.corners_px, record.treatments) == (None, None, None, ())
    assert not record.whole_picture


def test_the_whole_picture_must_be_asked_for():
    line = _one("tray,layout,corners", "R1,72,picture")
    assert line.record is not None
    assert line.record.whole_picture
    assert line.record.corners_px is None


def test_several_treatments_are_parted_by_semicolons():
    line = _one("tray,layout,treated_on,product,interval_days", "R1,72,2026-03-02;2026-03-05,soap,7;3")
    assert line.record is not None
    assert [(t.applied_on.day, t.product, t.interval_days) for t in line.record.treatments] == [
        (2, "soap", 7),
        (5, "treatment", 3),
    ]


def test_semicolons_comments_and_a_byte_order_mark_from_spreadsheets():
    trays = _trays("# rack one;;\ntray;layout;pitch_mm\n\nR1;72;\n;;\n# R2;72;\nR3;72;\n")
    assert [(line.number, line.tray, line.problem) for line in trays.lines] == [(4, "R1", ""), (7, "R3", "")]


@pytest.mark.parametrize(
    ("header", "message"),
    [
        (
            "tray,layuot",
            r"trays\.csv, line 1: column `layuot` is not known; did you mean `layout`\? allowed: photo, tray",
        ),
        ("tray,zzz,layout", r"trays\.csv, line 1: column `zzz` is not known; allowed: photo"),
        ("tray,layout,tray", r"trays\.csv, line 1: column `tray` stands twice; keep one"),
        ("layout,crop", r"trays\.csv, line 1: column `tray` is missing; add it"),
        ("", r"trays\.csv: holds no lines; give a header"),
    ],
)
def test_a_list_that_cannot_be_used_as_a_whole(header, message):
    with pytest.raises(UsageError, match=message):
        _trays(f"{header}\nR1,72,x\n" if header else "# nothing\n")


@pytest.mark.parametrize(
    ("header", "line", "message"),
    [
        ("tray,layout", ",72", "column `tray`: is empty; give the tray's id"),
        ("tray,layout,pitch_mm", "R1,,51", "column `layout`: is empty though `pitch_mm` is given; name it"),
        ("tray,layout,corners", "R1,,picture", "column `layout`: is empty though `corners` is given; name it"),
        ("tray,layout,crop,stage", "R1,auto,barley,mat", "a mat has no cells to know it by, so name it"),
        ("tray,layout", "R1,7y", "column `layout`: `7y`"),
        ("tray,layout,pitch_mm", "R1,2x3,wide", "column `pitch_mm`: `wide` is not a number; write it as 51"),
        (
            "tray,layout,outline_mm",
            "R1,2x3,540",
            "column `outline_mm`: `540` is not two lengths; write them as 540x280",
        ),
        ("tray,layout,crop,stage", "R1,72,buterhead,finish", "did you mean `butterhead`?"),
        ("tray,layout,crop,stage", "R1,72,butterhead,ripe", "column `stage`: `ripe` is not a stage; allowed: seedling"),
        ("tray,layout,crop,stage", "R1,72,butterhead,", "column `stage`: is empty though a crop is given; allowed: "),
        ("tray,layout,sown_on", "R1,72,1.3.2026", "column `sown_on`: `1.3.2026` is not a date; write year-month-day"),
        ("tray,layout,markers", "R1,72,perhaps", "column `markers`: `perhaps` is not clear; allowed: yes, no"),
        ("tray,layout,corners", "R1,72,1 2 3", "column `corners`: `1 2 3`: give 8 numbers with spaces"),
        ("tray,layout,corners", "R1,72,1 2 3 4 5 6 7 x", "column `corners`: `1 2 3 4 5 6 7 x`: give 8 numbers"),
        ("tray,layout,camera_height_mm", "R1,72,-5", "column `camera_height_mm`: `-5`: should be greater than 0"),
        ("tray,layout,canopy_height_mm", "R1,72,nan", "column `canopy_height_mm`: `nan` is not a number"),
        (
            "tray,layout,trays_in_picture",
            "R1,72,two",
            "column `trays_in_picture`: `two` is not a number of trays; write 2",
        ),
        (
            "tray,layout,trays_in_picture",
            "R1,72,12",
            "column `trays_in_picture`: `12`: should be less than or equal to 9",
        ),
        ("tray,layout,treated_on", "R1,72,2026-03-02", "column `interval_days`: holds 0 numbers for 1 days"),
        ("tray,layout,treated_on,interval_days", "R1,72,2026-03-02,long", "`long` is not a whole number of days"),
        ("tray,layout,treated_on,interval_days", "R1,72,soon,3", "column `treated_on`: `soon` is not a date"),
        ("tray,layout,product", "R1,72,soap", "column `product`: names 1 products for 0 days"),
        ("tray,layout", "R1,72,more", "3 fields under 2 columns; put fields that hold a comma in quotes"),
    ],
)
def test_a_wrong_line_keeps_its_problem_and_the_others_go_on(header, line, message):
    trays = _trays(f"{header}\n{line}\nR9,72\n")
    assert trays.lines[0].record is None
    assert trays.lines[0].problem.startswith("trays.csv, line 2")
    assert message in trays.lines[0].problem
    assert "\n" not in trays.lines[0].problem
    assert trays.lines[1].record is not None
    assert trays.problems == [trays.lines[0].problem]


@pytest.mark.parametrize(
    ("first", "other", "what"),
    [
        ("72,,,", "128,,,", "column `layout`: two trays are named `R1` but differ (72, 128)"),
        ("72,butterhead,finish,", "72,,,", "column `crop`: two trays are named `R1` but differ (butterhead, empty)"),
        ("72,,,2026-03-01", "72,,,2026-03-02", "column `sown_on`: two trays are named `R1` but differ (2026-03-01, "),
    ],
)
def test_two_trays_of_one_name(first, other, what):
    header = "photo,tray,layout,crop,stage,sown_on"
    trays = _trays(f"{header}\na.jpg,R1,{first}\nb.jpg,R1,{other}\nc.jpg,R2,72,,,\n")
    assert [line.record is None for line in trays.lines] == [True, True, False]
    (problem,) = trays.problems
    assert problem.startswith("trays.csv, lines 2 and 3, ")
    assert what in problem
    assert problem.endswith("rename one or make them agree")


@pytest.mark.parametrize(("header", "line"), [("tray", "R1"), ("tray,layout", "R1,"), ("tray,layout", "R1,Auto")])
def test_where_no_layout_is_named_one_is_chosen_among_the_known(header, line):
    own = {"mytray": layout_from("5x8", pitch_mm="48x50")}
    text = f"{header},marker_mm\n{line},25\n"
    read = trays_from_csv(text, source_name="trays.csv", recipes=known_recipes(), layouts=own).lines[0]
    assert read.record is not None, read.problem
    choices = read.record.layout_choices
    grids = [layout for layout in named_layouts().values() if layout.kind != "mat"]
    assert [layout.name for layout in choices] == [*(layout.name for layout in grids), "5x8"]
    assert {layout.markers.side_mm for layout in choices} == {25}
    named = _one("tray,layout", "R1,72")
    assert named.record is not None
    assert named.record.layout_choices == ()


def test_two_photos_of_one_tray_are_no_problem():
    trays = _trays("photo,tray,layout,corners\na.jpg,R1,72,\nb.jpg,R1,72,picture\n")
    assert trays.problems == []


_LIST = """photo,tray,layout
day1/a.jpg,R1,72
a.jpg,R2,72
rack_*.jpg,R3,72
,R4,72
,R4-b,72
"""


@pytest.mark.parametrize(
    ("name", "tray"),
    [
        ("day1/a.jpg", "R1"),  # the path before the file name
        ("day2/a.jpg", "R2"),
        ("a.jpg", "R2"),
        ("rack_7.jpg", "R3"),
        ("x/rack_7.jpg", "R3"),
        ("R4/x.jpg", "R4"),  # the tray's id as a folder
        ("R4_2026-03-01.jpg", "R4"),  # … and in the file name
        ("R4-b 0530.jpg", "R4-b"),
        ("R4-b.jpg", "R4-b"),
    ],
)
def test_the_nearest_way_of_naming_a_photo_counts(name, tray):
    assert [line.tray for line in lines_for(name, _trays(_LIST))] == [tray]


def test_a_photo_that_fits_no_line_or_two():
    with pytest.raises(PhotoError, match=r"R5\.jpg: fits no line of trays\.csv; add a line for it") as none:
        lines_for("R5.jpg", _trays(_LIST))
    assert none.value.code == "not_listed"
    two = _trays("photo,tray,layout\na*.jpg,R1,72\n*b.jpg,R2,72\n")
    with pytest.raises(PhotoError, match=r"ab\.jpg: lines 2 and 3 of trays\.csv both fit and differ") as both:
        lines_for("ab.jpg", two)
    assert both.value.code == "two_lines"


def _places(text, name="a.jpg"):
    return [
        (line.tray, line.record.tray, line.record.place, line.record.trays_in_picture)
        for line in lines_for(name, _trays(text))
    ]


def test_trays_of_one_picture_have_places_in_the_order_of_their_lines():
    text = "photo,tray,layout\na.jpg,R2,72\na.jpg,R1,128\n"
    assert _places(text) == [("R2", "R2", 1, 2), ("R1", "R1", 2, 2)]
    assert _places(text.replace("a.jpg", "a*.jpg")) == [("R2", "R2", 1, 2), ("R1", "R1", 2, 2)]
    one = "photo,tray,layout,trays_in_picture\na*.jpg,R7,72,3\n"
    assert _places(one) == [(f"R7-{k}", f"R7-{k}", k, 3) for k in (1, 2, 3)]


def test_trays_with_corners_of_their_own_need_no_place():
    text = "photo,tray,layout,corners\na.jpg,R1,72,1 2 3 4 5 6 7 8\na.jpg,R2,72,2 2 3 4 5 6 7 8\n"
    assert _places(text) == [("R1", "R1", 1, 1), ("R2", "R2", 1, 1)]


@pytest.mark.parametrize(
    ("text", "code", "message"),
    [
        ("tray,layout,corners\na.jpg,R1,72,1 2 3 4 5 6 7 8\na.jpg,R2,72,", "which_tray", "for all of its trays or for"),
        (
            "tray,layout,trays_in_picture\na.jpg,R1,72,3\na.jpg,R2,72,3",
            "which_tray",
            "it has 2 lines but another number",
        ),
        ("tray,layout,corners,trays_in_picture\na.jpg,R1,72,picture,2", "which_tray", "give each of its trays a line"),
        ("tray,layout,markers\na.jpg,R1,72,yes\na.jpg,R1,72,no", "two_lines", "lines 2 and 3 of trays.csv both fit"),
    ],
)
def test_trays_of_one_picture_that_cannot_be_told_apart(text, code, message):
    with pytest.raises(PhotoError, match=message) as caught:
        lines_for("a.jpg", _trays(f"photo,{text}\n"))
    assert caught.value.code == code


def test_trays_of_one_picture_need_layouts_and_sound_lines():
    (line,) = lines_for("a.jpg", _trays("photo,tray,layout\na.jpg,R1,auto\na.jpg,R2,72\n"))
    assert line.record is None
    assert line.problem == "a.jpg: shows several trays; name their `layout`"
    (line,) = lines_for("a.jpg", _trays("photo,tray,layout\na.jpg,R1,72\na.jpg,R2,7y\n"))
    assert line.problem.startswith("trays.csv, line 3, column `layout`")


def test_photos_that_are_named_but_absent():
    trays = _trays(_LIST)
    assert [line.tray for line in absent_photos(["day1/a.jpg", "rack_2.jpg"], trays)] == []
    # Without a path, a.jpg is named by line 3 and found in day1; the glob finds nothing.
    assert [line.tray for line in absent_photos(["day1/a.jpg"], trays)] == ["R3"]
    assert [line.tray for line in absent_photos([], trays)] == ["R1", "R2", "R3"]
