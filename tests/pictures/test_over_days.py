"""Evenness over time and readiness day by day: every value stands where it should."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from canopy.pictures import evenness_over_time, readiness_by_day
from canopy.pictures.palette import RAMP, SERIES, css_colour
from canopy.words import words_in

from .drawn import boxes, cells_of, parsed, points, texts

WORDS = words_in("en")


def _trays(**series):
    rows = [
        (tray, f"2026-05-{day:02d}T06:00:00", value) for tray, values in series.items() for day, value in values.items()
    ]
    return pd.DataFrame(rows, columns=["tray", "taken_at", "evenness"])


def test_points_lie_at_their_day_and_value():
    chart = evenness_over_time(_trays(R1={5: 80.0, 1: 60.0, 3: 70.5, 4: np.nan}), words=WORDS, name="e")
    root = parsed(chart)
    line = next(e for e in root.iter("polyline") if e.get("stroke") == css_colour(SERIES[0]))
    # Days from half a day before the first to half a day after the last, 5 days, over 464 px; 0 to 100 over 258 px.
    where = [(56 + (day - 0.5) / 5 * 464, 310 - value / 100 * 258) for day, value in ((1, 60), (3, 70.5), (5, 80))]
    assert points(line) == [pytest.approx(p, abs=0.01) for p in where]
    assert {"60", "70.5", "80", "2026-05-01", "2026-05-05", "● R1"} <= set(texts(root))
    assert chart.summary == "R1: 60 to 80."
    assert chart.rows == (("R1", "2026-05-01", "60"), ("R1", "2026-05-03", "70.5"), ("R1", "2026-05-05", "80"))


def test_trays_differ_by_sign_dash_and_colour_and_labels_stand_apart():
    chart = evenness_over_time(
        _trays(R1={1: 60.0, 5: 80.0}, R2={1: 70.0, 5: 80.5}, R3={5: 81.0}), words=WORDS, name="e"
    )
    root = parsed(chart)
    labels = {e.text: float(e.get("y")) for e in root.iter("text") if e.text and e.text[2:] in ("R1", "R2", "R3")}
    assert set(labels) == {"● R1", "■ R2", "▲ R3"}
    assert np.diff(sorted(labels.values())).min() >= 15
    dashes = {e.get("stroke"): e.get("stroke-dasharray") for e in root.iter("polyline") if e.get("stroke-width") == "2"}
    assert len(set(dashes.values())) == 3


def test_more_trays_than_can_be_told_apart_are_left_out_and_said():
    chart = evenness_over_time(_trays(**{f"R{n}": {1: 50.0 + n} for n in range(10)}), words=WORDS, name="e")
    assert "Not drawn: R8, R9" in texts(parsed(chart))
    assert chart.summary.endswith("not drawn: R8, R9.")


def test_nothing_to_draw_is_said():
    assert evenness_over_time(_trays(R1={1: np.nan}), words=WORDS, name="e").summary == "No values."
    table = cells_of(1, 2).assign(taken_at=pd.array([pd.NA] * 2, dtype="string"))
    assert readiness_by_day(table, words=WORDS, name="d").summary == "No values."


def test_boxes_of_readiness_hold_number_letter_and_colour():
    first = cells_of(
        1, 3, taken_at=["2026-05-01T06:00:00"] * 3, readiness=[12.4, np.nan, 86.0],
        decision=["wait", "empty", "harvest"], state=["planted", "empty", "planted"],
    )  # fmt: skip
    earlier = first.assign(taken_at="2026-05-01T05:00:00", readiness=1.0)
    later = first.iloc[:1].assign(taken_at="2026-05-03T06:00:00", readiness=71.5)
    chart = readiness_by_day(pd.concat([first, later, earlier]), words=WORDS, name="d")
    found = boxes(parsed(chart))
    assert {place: entry[0] for place, entry in found.items()} == {
        ("A1", "2026-05-01"): "12 W", ("A2", "2026-05-01"): "–", ("A3", "2026-05-01"): "86 H",
        ("A1", "2026-05-03"): "72 W", ("A2", "2026-05-03"): "/", ("A3", "2026-05-03"): "/",
    }  # fmt: skip
    # Steps of a seventh of 100: 12.4 in the first, 86 in the seventh (from 85.7), 71.5 in the sixth (from 71.43).
    assert [
        found[cell, day][1] for cell, day in (("A1", "2026-05-01"), ("A3", "2026-05-01"), ("A1", "2026-05-03"))
    ] == [css_colour(RAMP[k].fill) for k in (0, 6, 5)]
    assert chart.summary == "2026-05-01: 1 ready; 2026-05-03: 0 ready."
    assert chart.header == ("Cell", "2026-05-01", "2026-05-03")
    assert chart.rows == (("A1", "12 W", "72 W"), ("A2", "–", "/"), ("A3", "86 H", "/"))
