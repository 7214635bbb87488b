"""Maps of a tray: every drawn number and colour is that of the table."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from canopy.pictures import heat_map
from canopy.pictures.palette import LOOKS, RAMP, css_colour, step_of
from canopy.pictures.readings import compact
from canopy.words import words_in

from .drawn import boxes, cells_of, parsed, texts

WORDS = words_in("en")
AREAS = [300.0, 650.0, 1000.0, np.nan, 1300.0, 2400.0]


@pytest.fixture
def cells():
    return cells_of(2, 3, area_mm2=AREAS, state=["planted", "planted", "planted", "empty", "planted", "planted"])


def test_numbers_and_colours_are_those_of_the_table(cells):
    found = boxes(parsed(heat_map(cells, "area_mm2", words=WORDS, name="m")))
    # cm² = mm² / 100, by hand; steps of (2400 − 300) / 7 = 300 mm² from 300 on.
    assert {cell: text for cell, (text, *_) in found.items()} == {
        "A1": "3", "A2": "6.5", "A3": "10", "B1": "–", "B2": "13", "B3": "24",
    }  # fmt: skip
    fills = {"A1": 0, "A2": 1, "A3": 2, "B2": 3, "B3": 6}
    for cell, step in fills.items():
        assert found[cell][1:3] == (css_colour(RAMP[step].fill), css_colour(RAMP[step].ink)), cell
    assert found["B1"][1] == "#ffffff"
    assert found["A2"][3] == "A2: 6.5 cm²"


@pytest.mark.parametrize(
    "column", ["cover", "weight_g", "exg", "readiness", "hue_deg", "yellow_fraction", "l_star", "das"]
)
def test_any_column_of_numbers_can_be_drawn(column):
    rng = np.random.default_rng(3)
    values = np.round(rng.uniform(0.1, 0.9, 6), 2) if column != "das" else [3, 4, 5, 6, 7, 8]
    table = cells_of(2, 3, **{column: values})
    found = boxes(parsed(heat_map(table, column, words=WORDS, name="m")))
    factor = 100 if column in ("cover", "yellow_fraction") else 1
    numbers = table[column].to_numpy(float)
    for cell, value in zip(table["cell"], numbers, strict=True):
        assert float(found[cell][0]) == pytest.approx(value * factor, abs=0.5 if factor == 100 else 0.006)
        step = step_of(value, RAMP, low=numbers.min(), high=numbers.max())
        assert found[cell][1] == css_colour(step.fill)


def test_maps_that_are_to_be_compared_share_their_steps(cells):
    found = boxes(parsed(heat_map(cells, "area_mm2", words=WORDS, name="m", span=(0.0, 7000.0))))
    assert found["B3"][1] == css_colour(RAMP[2].fill)  # 2400 lies in the third of seven steps of 1000
    assert {fill for _, fill, *_ in found.values()} <= {"#ffffff", *(css_colour(RAMP[k].fill) for k in (0, 1, 2))}


def test_decisions_have_letter_and_colour_and_a_legend():
    decisions = ["harvest", "wait", "inspect", "empty", pd.NA, "harvest"]
    table = cells_of(2, 3, decision=decisions, state=["planted"] * 3 + ["empty"] + ["planted"] * 2)
    root = parsed(chart := heat_map(table, "decision", words=WORDS, name="m"))
    found = boxes(root)
    assert [found[cell][0] for cell in table["cell"]] == ["H", "W", "?", "–", "/", "H"]
    assert found["A1"][1] == css_colour(LOOKS["harvest"].fill)
    assert {"harvest", "inspect", "wait", "empty"} <= set(texts(root))
    assert chart.summary == "2 harvest, 1 inspect, 1 wait, 1 empty."
    assert chart.rows[0] == ("A1", "harvest")


def test_other_words_are_numbered():
    table = cells_of(1, 3, limiting=["size", "age", "size"])
    root = parsed(heat_map(table, "limiting", words=WORDS, name="m"))
    assert [text for text, *_ in boxes(root).values()] == ["2", "1", "2"]
    assert {"age", "size"} <= set(texts(root))


def test_it_says_the_same_in_words(cells):
    chart = heat_map(cells, "area_mm2", words=WORDS, name="tray 1/b")
    root = parsed(chart)
    assert chart.summary == "Leaf area of 5 cells: median 10 cm², least 3 cm² (A1), most 24 cm² (B3)."
    ids = root.get("aria-labelledby").split()
    assert (
        [root.find("title").get("id"), root.find("desc").get("id")] == ids == ["p-tray-1-b-title", "p-tray-1-b-summary"]
    )
    assert (root.get("role"), root.find("title").text, root.find("desc").text) == (
        "img",
        "Leaf area (cm²)",
        chart.summary,
    )
    assert chart.header == ("Cell", "Leaf area (cm²)")
    assert chart.rows == (("A1", "3"), ("A2", "6.5"), ("A3", "10"), ("B1", "–"), ("B2", "13"), ("B3", "24"))
    # Bounds of the steps: 3 to 24 in sevenths.
    assert {"3", "6", "9", "12", "15", "18", "21", "24", "cm²"} <= set(texts(root))


def test_cells_can_be_links(cells):
    root = parsed(heat_map(cells, "area_mm2", words=WORDS, name="m", link=lambda cell: f"/cell/{cell}?a=1&b=2"))
    links = list(root.iter("a"))
    assert [(a.get("href"), a.get("aria-label")) for a in links][1] == ("/cell/A2?a=1&b=2", "A2: 6.5 cm²")
    assert root.get("role") == "group"


def test_nothing_from_outside_breaks_out_and_nothing_is_styled_inline():
    table = cells_of(1, 1, limiting=['<script>alert("x")</script>\x07'])
    svg = heat_map(table, "limiting", words=WORDS, name='"><b>', title="<i>").svg
    assert "<script" not in svg
    assert "<i>" not in svg
    assert "<b>" not in svg
    assert "style=" not in svg


def test_no_cells_and_no_values_make_a_picture_too(cells):
    for table in (cells.iloc[:0], cells.assign(area_mm2=np.nan)):
        chart = heat_map(table, "area_mm2", words=WORDS, name="m")
        assert chart.summary == "No values."
        assert "nan" not in chart.svg


@pytest.mark.parametrize(
    ("value", "text"),
    [(1234.4, "1234"), (99.96, "100"), (99.94, "99.9"), (12.0, "12"), (9.996, "10"), (1.25, "1.25"), (0.0, "0"),
     (-0.001, "0"), (-7.26, "−7.26"), (float("nan"), "")],
)  # fmt: skip
def test_numbers_are_short(value, text):
    assert compact(value) == text
