"""The board: order, filters, comparison, notes, table."""

from __future__ import annotations

import csv
import io

import pytest

from canopy.measure.columns import TRAY_COLUMNS
from canopy.store.newest import CellNow
from canopy.store.readings import table
from canopy.web.routes.board import Asked, all_rows, filtered, heat


def test_the_least_even_comes_first_and_the_table_is_the_stores(site, qa):
    rows = all_rows(site)
    assert [row.now.evenness for row in rows] == sorted(row.now.evenness for row in rows)
    text = qa.get("/board.csv").text
    lines = list(csv.DictReader(io.StringIO(text)))
    assert list(lines[0]) == [column.name for column in TRAY_COLUMNS]
    assert [line["tray"] for line in lines] == [row.now.tray for row in rows]
    with site.store.reading() as connection:
        kept = table(connection, "trays", tray=rows[0].now.tray)
    assert f"{kept['evenness'].iloc[-1]:.5g}" in {line["evenness"] for line in lines}


@pytest.mark.parametrize(
    ("asked", "trays"),
    [(Asked(crop="Pak choi, seedling"), {"R1-05"}), (Asked(age_from=15, age_to=15), {"R1-01"}),
     (Asked(rack="R9"), set()), (Asked(age_from=400), set())],
)  # fmt: skip
def test_filters(site, asked, trays):
    known = {row.now.tray for row in filtered(all_rows(site), asked)}
    assert known & {"R1-01", "R1-05"} == trays


def test_a_note_marks_the_newest_photo_as_seen(site, qa):
    assert qa.fill("/board/seen", tray="R1-01", note="row A dry?", back="rack=R1").headers["location"] == (
        "/board?rack=R1#b-R1-01"
    )
    row = next(row for row in all_rows(site) if row.now.tray == "R1-01")
    assert row.seen
    assert (row.note.by, row.note.note) == ("bo", "row A dry?")
    assert "R1-01" in {row.now.tray for row in filtered(all_rows(site), Asked(seen="yes"))}
    assert "R1-01" not in {row.now.tray for row in filtered(all_rows(site), Asked(seen="no"))}


def test_a_note_about_nothing_is_refused(qa):
    assert qa.fill("/board/seen", tray="R9-99", note="x").status_code == 422


def test_two_trays_side_by_side(qa):
    html = qa.get("/board/compare?tray=R1-01&tray=R1-05").text
    assert html.index("R1-01</a>") < html.index("R1-05</a>")
    assert "Evenness" in html
    assert qa.get("/board/compare?tray=R1-01").status_code == 422
    assert qa.get("/board/compare?tray=R1-01&tray=R9-99").status_code == 404


@pytest.mark.parametrize("path", ["/board?age_from=x", "/board?age_to=99999", "/board?part=x"])
def test_what_makes_no_sense_is_told(qa, path):
    assert qa.get(path).status_code == 422


def test_heat_map_shades_by_the_median():
    # By hand: areas beside their median 100: 50 is far below (under 0.6), 80 below (under 0.85), 100 middle, 130 above
    # (over 1.15), 150 far above (over 1.4).
    areas = [50.0, 80.0, 100.0, 130.0, 150.0, None]
    cells = [CellNow(f"A{k + 1}", 1, k + 1, None, None, area) for k, area in enumerate(areas)]
    assert heat(cells)["runs"] == [(k, 0, 1, shade) for k, shade in enumerate(["0", "1", "2", "3", "4", "none"])]
    assert heat([])["runs"] == []


def test_cells_of_one_shade_are_drawn_as_one():
    cells = [CellNow(f"A{k + 1}", 1, k + 1, None, None, 100.0) for k in range(6)]
    assert heat(cells)["runs"] == [(0, 0, 6, "2")]
