"""The report from readings made by hand: what it escapes, cuts short and leaves out."""

from __future__ import annotations

import base64
import re
from dataclasses import replace

import cv2
import numpy as np
import pandas as pd
import pytest

from canopy.outputs.picks import pick_list
from canopy.outputs.report import ReportTray, render_report
from canopy.records import Remark
from canopy.settings import OutputSettings


def _report(*readings, set_aside=(), photos_read=None, picture=b"", cautions=(), **look):
    trays = [ReportTray(reading, pick_list(reading), "Cos", tuple(cautions), picture) for reading in readings]
    read = len(trays) if photos_read is None else photos_read
    settings = OutputSettings(**look)
    return render_report(trays, set_aside, photos_read=read, version="9.9.9", fingerprint="0123456789ab", look=settings)


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


def _pictures(html):
    found = re.findall(r'src="data:image/(\w+);base64,([^"]+)"', html)
    return [(kind, base64.b64decode(data)) for kind, data in found]


def _noisy_jpeg(width, height, seed=0):
    """Leaves, soil and outlines hold about as many bytes as soft noise: some 0.4 byte a pixel at this quality."""
    noise = np.random.default_rng(seed).normal(128, 60, (height, width, 3))
    return cv2.imencode(
        ".jpg", cv2.GaussianBlur(noise, (0, 0), 0.8).clip(0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 78]
    )[1].tobytes()


def _tray_of(rows, columns, reading):
    """A full tray of the reading's kind: its first cell again and again, every plant a little different."""
    first = reading.cells.iloc[:1]
    cells = pd.concat([first] * (rows * columns), ignore_index=True)
    cells["row"], cells["col"] = np.repeat(np.arange(1, rows + 1), columns), np.tile(np.arange(1, columns + 1), rows)
    cells["cell"] = [f"{chr(64 + row)}{col}" for row, col in zip(cells["row"], cells["col"], strict=True)]
    cells["area_mm2"] = np.linspace(400, 2400, rows * columns)
    cells["reason"] = "range 36.2 to 98.8 crosses 80; too small: 412.5 mm², minimum 600 mm²"
    criteria = pd.concat(
        [
            reading.criteria.assign(cell=cell, criterion=name)
            for cell in cells["cell"]
            for name in ("size", "age", "health")
        ]
    )
    return replace(reading, cells=cells.astype(reading.cells.dtypes), criteria=criteria)


def test_twenty_trays_can_be_sent_by_mail(reading):
    tray = _tray_of(6, 12, reading)
    picture = _noisy_jpeg(1000, 640)
    assert 20 * 4 / 3 * len(picture) > 4.5e6  # as they come, in base64
    html = _report(*[replace(tray, tray=f"R{number}") for number in range(20)], picture=picture)
    assert len(html.encode()) < 3_000_000
    pictures = _pictures(html)
    assert len(pictures) == 20
    assert {kind for kind, _ in pictures} == {"webp"}
    small = cv2.imdecode(np.frombuffer(pictures[7][1], np.uint8), cv2.IMREAD_COLOR)
    assert OutputSettings().report_least_side_px <= small.shape[1] < 1000
    assert small.shape[0] / small.shape[1] == pytest.approx(640 / 1000, abs=1 / small.shape[1])


def test_pictures_that_fit_are_left_as_they_are(reading):
    picture = _noisy_jpeg(900, 600)
    assert _pictures(_report(reading, picture=picture)) == [("jpeg", picture)]
    assert _pictures(_report(reading, picture=picture, report_max_mb=0.2))[0][0] == "webp"


def test_no_picture_is_made_too_small_to_read(reading):
    html = _report(
        *[replace(reading, tray=f"R{n}") for n in range(8)], picture=_noisy_jpeg(900, 600), report_max_mb=0.2
    )
    small = cv2.imdecode(np.frombuffer(_pictures(html)[0][1], np.uint8), cv2.IMREAD_COLOR)
    assert max(small.shape) == OutputSettings().report_least_side_px


def test_maps_of_the_tray_hold_its_areas(reading):
    html = _report(reading)
    # Areas of discs of 20, 12, 15, 24 and 10 mm radius; the fourth cell is empty.
    for cell, text in {"A1": "12.6", "A2": "4.52", "A3": "7.07", "B1": "–", "B2": "18.1", "B3": "3.14"}.items():
        assert re.search(
            rf'data-cell="{cell}"><title>{cell}: {text}[^<]*</title><rect[^>]*/><text[^>]*>{text}<', html
        ), cell
    assert "Leaf area of 5 cells: median 7.07 cm², least 3.14 cm² (B3), most 18.1 cm² (B2)." in html


def test_a_tray_without_plants_has_no_maps(reading):
    dead = reading.cells.assign(state="empty", area_mm2=np.nan)
    assert "data-cell" not in _report(replace(reading, cells=dead))


def _on(day, reading, readiness):
    when = f"2026-03-{day:02d}T05:30:00"
    cells = reading.cells.assign(taken_at=when, readiness=readiness)
    return replace(reading, cells=cells, trays=reading.trays.assign(taken_at=when, evenness=60.0 + day))


def test_a_tray_of_several_days_shows_them_with_its_last_photo(reading):
    html = _report(_on(5, reading, 50.0), _on(7, reading, 70.0))
    first, second = html.split('<section class="tray" id="tray-')[1:3]
    assert "Evenness over time" not in first
    assert "T1: 65 to 67." in second
    assert "Readiness from day to day" in second
    assert re.search(r'data-cell="A2" data-day="2026-03-07"><title>A2, 2026-03-07: 70 W</title>', second)
    once = _report(_on(5, reading, 50.0), replace(_on(7, reading, 70.0), tray="T2"))
    assert "Evenness over time" not in once
