from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from canopy.growth.clock import PLAIN_DAYS, degree_days, thermal_clock
from canopy.settings.growth import ClockSettings

SETTINGS = ClockSettings()
SOWN = pd.Timestamp("2026-05-01")


def _weather(low, high, *, days=10, start="2026-05-01"):
    return pd.DataFrame({"date": pd.date_range(start, periods=days), "low_c": low, "high_c": high})


def test_degree_days_by_definition():
    # 24/18 °C over a base of 4 °C: 21 − 4 = 17 °C·d; 35 days of it 595 (definition, worked by hand).
    assert degree_days(np.array([18.0]), np.array([24.0]), settings=SETTINGS)[0] == pytest.approx(17.0, abs=1e-12)
    assert degree_days(np.array([0.0]), np.array([6.0]), settings=SETTINGS)[0] == 0.0  # mean 3 lies below the base
    assert degree_days(np.array([34.0]), np.array([42.0]), settings=SETTINGS)[0] == pytest.approx(26.0)  # cap 30


def test_usual_weather_gives_plain_days():
    clock, complaints = thermal_clock(_weather(18.0, 24.0), sown_on=SOWN, settings=SETTINGS)
    assert complaints == ()
    das = np.array([0.0, 3.5, 9.0, 25.0])
    # The clock is kept strictly rising by a billionth of a day per day.
    np.testing.assert_allclose(clock.at(das), das, atol=1e-7)
    np.testing.assert_allclose(clock.das(clock.at(das)), das, atol=1e-7)
    assert "1.00 standard days" in clock.note


def test_cold_days_slow_the_clock_and_days_to_come_run_as_the_last():
    clock, _ = thermal_clock(_weather(9.5, 15.5), sown_on=SOWN, settings=SETTINGS)  # mean 12.5: 8.5 of 17 °C·d
    assert clock.at(np.array([10.0]))[0] == pytest.approx(5.0, abs=1e-6)
    assert clock.at(np.array([30.0]))[0] == pytest.approx(15.0, abs=1e-6)
    assert clock.das(np.array([15.0]))[0] == pytest.approx(30.0, abs=1e-5)
    assert math.isinf(clock.das(np.array([math.inf]))[0])


def test_gaps_are_reckoned_and_said():
    table = _weather(18.0, 24.0).drop(index=[2, 3])
    clock, _ = thermal_clock(table, sown_on=SOWN, settings=SETTINGS)
    assert clock.at(np.array([10.0]))[0] == pytest.approx(10.0, abs=1e-6)
    assert clock.note.endswith("2 past days without temperature reckoned likewise")


def test_bad_lines_are_named_and_the_rest_goes_on():
    table = _weather(18.0, 24.0, days=5).astype({"low_c": object, "date": object})
    table.loc[1, "low_c"] = "warm"
    table.loc[2, "low_c"] = 30.0
    table.loc[3, "date"] = "5th of May"
    table.loc[4, "date"] = pd.Timestamp("2026-05-01")
    clock, complaints = thermal_clock(table, sown_on=SOWN, settings=SETTINGS)
    assert [str(c) for c in complaints] == [
        "temperatures line 3, column `low_c`: `warm` is not a number; write it like 12.5",
        "temperatures line 4, column `low_c`: 30.0 is above `high_c`; swap them",
        "temperatures line 5, column `date`: `5th of May` is not a date; write it like 2026-05-14 or 14.05.2026",
        "temperatures line 6, column `date`: repeats line 2 (same date); only that one is used",
    ]
    assert clock.kind == "degree days"


def test_no_usable_day_falls_back_to_plain_days_and_says_so():
    clock, complaints = thermal_clock(_weather(18.0, 24.0, start="2026-04-01"), sown_on=SOWN, settings=SETTINGS)
    assert clock is PLAIN_DAYS
    assert str(complaints[0]) == ("temperatures, column `date`: no usable day since sowing; the clock is plain days")
