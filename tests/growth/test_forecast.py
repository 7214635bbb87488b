from __future__ import annotations

import math
from datetime import date

import numpy as np
import pandas as pd
import pytest

from canopy.errors import UsageError
from canopy.growth.curves import growth_curves
from canopy.growth.daily import DAILY_DTYPES
from canopy.growth.draws import _shares, draw_futures
from canopy.growth.forecast import READY_DTYPES, forecast_tray
from canopy.growth.touching import when_touching
from canopy.readiness.recipes import recipe_for
from canopy.records import Layout, TrayRecord
from canopy.settings.growth import CurveSettings, ForecastSettings

from .drawing import logistic_tray

CURVE, SETTINGS = CurveSettings(), ForecastSettings()
HEAD = recipe_for("butterhead", "finish")
LAYOUT = Layout(
    name="6x8", rows=6, columns=8, pitch_x_mm=200, pitch_y_mm=220, outline_width_mm=1700, outline_height_mm=1400
)
TRAY = TrayRecord(tray="T1", layout=LAYOUT, crop="butterhead", stage="finish", sown_on=date(2026, 5, 1))


def _forecast(table, *, today=date(2026, 6, 1), **change):
    curves = growth_curves(table, recipe=HEAD, settings=CURVE)
    return forecast_tray(
        curves, recipe=HEAD, tray=TRAY, today=today, settings=SETTINGS.model_copy(update=change)
    ), curves


def test_day_of_readiness_by_hand():
    # Long histories without noise: every plant's day is tm − ln(K/A − 1)/r (logistic, by algebra). With readings past
    # that day on a 3-day grid and a stated uncertainty of 5 %, a tenth of a day is a hundredth of ln area.
    table, (finals, rates, middles) = logistic_tray(days=np.arange(15, 63, 3), noise=0.0, final=80_000.0, middle=40.0)
    told, _ = _forecast(table)
    truth = middles - np.log(finals / 32_000 - 1) / rates
    assert told.area_mm2 == 32_000
    assert np.abs(told.plants["ready_das"] - truth).max() < 0.3
    needed = np.sort(truth)[math.ceil(0.8 * 48) - 1]
    assert told.tray["ready_das"].iloc[0] == pytest.approx(needed, abs=0.3)


def test_numbers_ready_sum_the_plants_chances():
    table, (finals, rates, middles) = logistic_tray(days=np.arange(15, 33, 3), final=80_000.0, middle=40.0)
    told, curves = _forecast(table)
    assert told.daily.dtypes.astype(str).to_dict() == DAILY_DTYPES
    assert told.plants.dtypes.astype(str).to_dict() == READY_DTYPES
    assert list(told.daily["das"]) == list(range(32, 46))
    assert told.daily["date"].iloc[0] == pd.Timestamp("2026-06-02")
    days = draw_futures(curves, settings=SETTINGS).reached_das(32_000)
    np.testing.assert_allclose(told.daily["ready"], [(days <= d + 0.5).mean(axis=0).sum() for d in range(32, 46)])
    assert told.daily["ready"].is_monotonic_increasing
    truth = middles - np.log(np.maximum(finals / 32_000 - 1, 1e-9)) / rates
    counts = [(truth <= d + 0.5).sum() for d in range(32, 46)]
    assert ((told.daily["ready_low"] <= counts) & (counts <= told.daily["ready_high"])).mean() >= 0.8


def test_never_before_the_least_age():
    table, _ = logistic_tray(days=np.arange(4, 16, 2), middle=8.0, final=200_000.0)
    told, _ = _forecast(table, today=date(2026, 5, 18))
    assert told.plants["ready_das"].min() == HEAD.gates.minimum_das
    assert told.plants["ready_now"].max() == 0.0


def test_plants_that_stop_short_may_never_be_ready_and_it_is_said():
    table, _ = logistic_tray(days=np.arange(12, 60, 3), final=15_000.0)
    told, _ = _forecast(table)
    assert np.isinf(told.plants["ready_das"]).all()
    assert told.plants["note"].str.startswith("may never reach the area (").all()
    assert told.said[1] == "80 % of the plants may never be ready by these curves"


def test_drift_grows_with_the_root_of_days():
    table, _ = logistic_tray(days=np.arange(8, 30, 2), plants=6)
    curves = growth_curves(table, recipe=HEAD, settings=CURVE, shapes=("logistic",))
    das = np.array([20.0, 28.0, 29.0, 32.0, 37.0])  # the last reading is of day 28
    plain, drifting = (
        draw_futures(curves, settings=SETTINGS.model_copy(update={"drift_sd": sd, "draws": 4000})).ln_area(das)
        for sd in (0.0, 0.05)
    )
    sd = (drifting - plain).std(axis=0)
    # 4000 draws know a standard deviation to 1/root(8000) = 1.1 %; three of those.
    np.testing.assert_allclose(sd, np.tile(0.05 * np.sqrt([0, 0, 1, 4, 9]), (6, 1)), rtol=0.034, atol=1e-12)


def test_drift_widens_the_range_of_the_day():
    table, _ = logistic_tray(days=np.arange(15, 33, 3), final=80_000.0, middle=40.0)
    widths = []
    for drift in (0.0, 0.1):
        told, _ = _forecast(table, drift_sd=drift)
        widths.append((told.plants["ready_high_das"] - told.plants["ready_low_das"]).median())
    assert widths[1] > widths[0]


def test_same_readings_same_forecast():
    table, _ = logistic_tray(days=np.arange(12, 30, 3), plants=12)
    first, second = _forecast(table)[0], _forecast(table)[0]
    pd.testing.assert_frame_equal(first.plants, second.plants)
    assert first.said == second.said
    assert first.said[0].startswith("curve: ")
    assert " ready on 2026-06-" in first.said[1]


def test_no_day_of_sowing_and_no_plants():
    table, _ = logistic_tray(days=(12, 15), plants=3)
    curves = growth_curves(table, recipe=HEAD, settings=CURVE)
    with pytest.raises(UsageError, match="tray T1: a forecast needs `sown_on`"):
        forecast_tray(
            curves, recipe=HEAD, tray=TRAY.model_copy(update={"sown_on": None}), today=date(2026, 6, 1),
            settings=SETTINGS,
        )  # fmt: skip
    told, _ = _forecast(table.iloc[:0])
    assert len(told.plants) == 0
    assert (told.daily["ready"] == 0).all()


def test_draws_are_shared_out_by_likelihood():
    # exp(−BIC/2): a curve 2 ln 3 worse has a third of the weight: 300 and 100 of 400.
    np.testing.assert_array_equal(_shares(np.array([5.0, 5.0 + 2 * math.log(3)]), 400), [300, 100])
    np.testing.assert_array_equal(_shares(np.array([900.0, 5.0, 800.0]), 50), [0, 50, 0])


def _placed(table):
    number = table["plant"].str[1:].astype(int)
    return table.assign(row=number // 8 + 1, col=number % 8 + 1)


def test_neighbours_touch_when_two_half_widths_span_the_pitch():
    # Equal discs touch across 200 mm at an area of π/4·200² = 31,416 mm²; along the columns (220 mm) at 38,013 mm².
    table, _ = logistic_tray(days=np.arange(12, 60, 3), noise=0.0, final=80_000.0)
    table["diameter_mm"] = np.sqrt(4 / math.pi * table["area_mm2"])
    curves = growth_curves(_placed(table), recipe=HEAD, settings=CURVE)
    told = when_touching(curves, _placed(table), layout=LAYOUT, today_das=20, settings=SETTINGS)
    assert told.width_factor == pytest.approx(4 / math.pi, rel=1e-9)
    width = np.sqrt(4 / math.pi * np.exp(curves.pooled.ln_area(curves.age(told.daily["das"].to_numpy()))))
    grid = width.reshape(6, 8, -1)
    right = (grid[:, :-1] + grid[:, 1:]) / 2 >= 200
    down = (grid[:-1] + grid[1:]) / 2 >= 220
    share = (right.sum(axis=(0, 1)) + down.sum(axis=(0, 1))) / (6 * 7 + 5 * 8)
    assert told.das == pytest.approx(told.daily["das"][np.argmax(share >= 0.1)], abs=1.0)  # a whole day either way
    assert told.said.startswith(f"10 % of neighbours touch on day {told.das:.0f} (90 % range ")


def test_small_plants_and_lonely_ones_do_not_touch():
    table, _ = logistic_tray(days=np.arange(12, 60, 3), final=5_000.0)
    placed = _placed(table)
    curves = growth_curves(placed, recipe=HEAD, settings=CURVE)
    told = when_touching(curves, placed, layout=LAYOUT, today_das=40, settings=SETTINGS)
    assert math.isinf(told.das)
    assert told.said == "less than 10 % of neighbours touch within 30 days"
    one = placed[placed["plant"] == "P00"]
    lonely = when_touching(
        growth_curves(one, recipe=HEAD, settings=CURVE), one, layout=LAYOUT, today_das=40, settings=SETTINGS
    )
    assert math.isnan(lonely.das)
    assert lonely.said == "no two neighbours have plants"
    assert lonely.width_factor == SETTINGS.width_factor
