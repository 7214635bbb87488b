"""The growth fan: readings and curve lie where their values say."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from growth.drawing import logistic_tray

from canopy.growth.curves import growth_curves
from canopy.growth.draws import draw_futures
from canopy.pictures import fan_of, growth_fan
from canopy.pictures.axes import Axes, day_ticks, ticks
from canopy.readiness.recipes import recipe_for
from canopy.settings.growth import CurveSettings, ForecastSettings
from canopy.words import words_in

from .drawn import parsed, points, texts

WORDS = words_in("en")
FAN = pd.DataFrame(
    {"das": [10.0, 20.0, 30.0], "low_mm2": [900.0, 3000.0, 6000.0], "area_mm2": [1000.0, 4000.0, 9000.0],
     "high_mm2": [1100.0, 5000.0, 12000.0]}
)  # fmt: skip
READINGS = pd.DataFrame(
    {"das": [10.0, 15.0, 20.0], "area_mm2": [1050.0, np.nan, 3900.0], "area_low_mm2": [950.0, np.nan, np.nan],
     "area_high_mm2": [1150.0, np.nan, np.nan]}
)  # fmt: skip


@pytest.fixture(scope="module")
def chart():
    return growth_fan(FAN, READINGS, words=WORDS, name="f", title="Tray 1, B4", ready_mm2=8000.0, today_das=20.5)


def _place(das, cm2):
    """By the axes: days 10 to 30 over 56 to 520 px, 0 to 1.05 · 120 cm² over 310 to 52 px from below."""
    return (56 + (das - 10) / 20 * (520 - 56), 310 - cm2 / 126 * (310 - 52))


def test_curve_range_and_readings_lie_where_they_should(chart):
    root = parsed(chart)
    curve = next(e for e in root.iter("polyline") if e.get("data-part") == "curve")
    assert points(curve) == [pytest.approx(_place(d, a), abs=0.01) for d, a in ((10, 10), (20, 40), (30, 90))]
    band = next(e for e in root.iter("polygon"))
    outline = [(10, 9), (20, 30), (30, 60), (30, 120), (20, 50), (10, 11)]
    assert points(band) == [pytest.approx(_place(*p), abs=0.01) for p in outline]
    circles = [(float(c.get("cx")), float(c.get("cy"))) for c in root.iter("circle")]
    assert circles == [pytest.approx(_place(10, 10.5), abs=0.01), pytest.approx(_place(20, 39), abs=0.01)]
    dashed = [points(e) for e in root.iter("polyline") if e.get("stroke-dasharray") == "7 4"]
    assert dashed == [[pytest.approx(_place(10, 80), abs=0.01), pytest.approx(_place(30, 80), abs=0.01)]]


def test_parts_are_named_and_said(chart):
    assert {"curve", "range", "ready 80", "today", "Days after sowing", "Leaf area (cm²)"} <= set(texts(parsed(chart)))
    assert chart.summary == "2 readings; on day 30 the curve is at 90 cm², range 60 to 120 cm²."
    assert chart.rows[0] == ("reading", "10", "10.5", "9.5", "11.5")
    assert chart.rows[1] == ("reading", "20", "39", "", "")
    assert chart.rows[-1] == ("curve", "30", "90", "60", "120")


def test_a_fan_is_the_middle_and_range_of_drawn_curves():
    table, _ = logistic_tray(days=np.arange(15, 33, 3), plants=6)
    curves = growth_curves(table, recipe=recipe_for("butterhead", "finish"), settings=CurveSettings())
    futures = draw_futures(curves, settings=ForecastSettings())
    days = np.array([20.0, 30.0, 40.0])
    fan = fan_of(futures, "P02", days, level=0.9)
    drawn = np.exp(futures.ln_area(days)[:, 2])
    inside = (drawn >= fan["low_mm2"].to_numpy()) & (drawn <= fan["high_mm2"].to_numpy())
    # Of 400 draws a share of 0.9 lies between its own quantiles, to one draw at either end.
    assert inside.mean(axis=0) == pytest.approx(0.9, abs=2 / 400)
    assert (np.abs((drawn < fan["area_mm2"].to_numpy()).mean(axis=0) - 0.5) < 1 / 400 + 1e-9).all()


def test_axes_have_round_numbers():
    assert ticks(0, 126) == [0, 50, 100]
    assert ticks(10, 30) == [10, 15, 20, 25, 30]
    assert ticks(0.0, 1.0) == pytest.approx([0, 0.2, 0.4, 0.6, 0.8, 1.0])
    assert ticks(0, 4300) == [0, 1000, 2000, 3000, 4000]
    assert Axes((0, 10), (0, 1)).at(5, 0.5) == (288, 181)


def test_dates_stand_clear_of_each_other():
    days = [date(2026, 5, day) for day in (1, 2, 5, 8, 8)]
    assert list(day_ticks(days).values()) == ["2026-05-02", "2026-05-05", "2026-05-08"]
    assert list(day_ticks(days[:1]).values()) == ["2026-05-01"]
