"""The report from readings made by hand: what it escapes, cuts short and leaves out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from canopy.outputs.picks import pick_list
from canopy.outputs.report import ReportTray, render_report
from canopy.records import Remark


def _report(*readings, set_aside=(), photos_read=None, picture=b"", cautions=()):
    trays = [ReportTray(reading, pick_list(reading), "Cos", tuple(cautions), picture) for reading in readings]
    read = len(trays) if photos_read is None else photos_read
    return render_report(trays, set_aside, photos_read=read, version="9.9.9", fingerprint="0123456789ab")


def test_names_from_outside_cannot_break_the_page(reading):
    nasty = '<script>alert("x")</script>'
    html = _report(
        replace(reading, tray=nasty, photo=nasty, remarks=(Remark("dark", nasty),)),
        set_aside=[(nasty, "missing", nasty)],
        cautions=[nasty],
    )
    assert "<script>" not in html
    assert html.count("&lt;script&gt;") >= 5


def test_set_aside_photos_are_told_with_reason_and_mend(reading):
    html = _report(reading, set_aside=[("b.jpg", "empty_file", "b.jpg: file is empty; copy it again")])
    assert "1 photo set aside" in html
    assert "Copy the photo again from the camera." in html


def test_nothing_read_still_makes_a_page():
    html = _report(set_aside=[("b.jpg", "empty_file", "b.jpg: file is empty")])
    assert "<h1>0 to pick in 0 trays</h1>" in html


def test_what_is_left_out_is_said(reading):
    assert "12 more photos are in the tables only" in _report(reading, photos_read=13)
    assert "1 more photo is in the tables only" in _report(reading, photos_read=2)
    assert "in the tables only" not in _report(reading)


def test_trays_and_photos_are_counted_apart(reading):
    other = replace(reading, tray="T2")
    for readings, words in [((reading,), "2 to pick in 1 tray"), ((reading, other), "4 to pick in 2 trays")]:
        html = _report(*readings)
        assert f"<h1>{words}</h1>" in html
        assert "counted anew" not in html
    html = _report(reading, reading, other)
    assert "<h1>6 to pick in 2 trays</h1>" in html
    assert "From 3 photos: a tray with several photos is counted anew in each of them." in html


def test_a_picture_is_shown_only_where_one_was_drawn(reading):
    assert "<img" not in _report(reading)
    assert "data:image/jpeg;base64,AQI=" in _report(reading, picture=b"\x01\x02")


def test_cautions_of_a_recipe_stand_once(reading):
    assert _report(reading, reading, cautions=["Mind the thorns."]).count("Mind the thorns.") == 1


def test_cells_to_look_at_are_listed_with_their_reason(reading):
    html = _report(reading)
    assert "Look at these first: 1" in html
    assert "yellow leaves" in html


def test_a_remark_on_the_photo_is_shown(reading):
    html = _report(replace(reading, remarks=(Remark("dark", "nine tenths are dark"), Remark("x", "of a cell", "A1"))))
    assert "nine tenths are dark" in html
    assert "of a cell" not in html


@pytest.mark.parametrize("missing", ["decision", "reason", "readiness"])
def test_missing_values_never_show_as_such(reading, missing):
    cells = reading.cells.assign(**{missing: reading.cells[missing].mask(reading.cells["row"] > 0)})
    html = _report(replace(reading, cells=cells))
    assert "nan" not in html.lower().replace("finance", "")
    assert "&lt;NA&gt;" not in html
    assert "None" not in html.replace("None of", "")
