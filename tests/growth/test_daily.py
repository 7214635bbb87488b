"""Grams ready and plants past their bound on the days to come."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from canopy.growth.curves import growth_curves
from canopy.growth.forecast import forecast_tray
from canopy.growth.weight import WeightModel, expected_grams
from canopy.readiness.recipes import recipe_for
from canopy.records import Layout, TrayRecord
from canopy.settings.growth import CurveSettings, ForecastSettings

from .drawing import logistic_tray

HEAD = recipe_for("butterhead", "finish")
SEEDLING = recipe_for("butterhead", "seedling")
LAYOUT = Layout(
    name="6x8", rows=6, columns=8, pitch_x_mm=200, pitch_y_mm=220, outline_width_mm=1700, outline_height_mm=1400
)
TRAY = TrayRecord(tray="T1", layout=LAYOUT, crop="butterhead", stage="finish", sown_on=date(2026, 5, 1))


def _model(*, tray_off=0.1, to_mm2=1e9, calibrated=True):
    # 0.002 g/mm² in proportion: grams follow from areas by one multiplication.
    return WeightModel(np.log(0.002), 1.0, 0.0, calibrated, 1.0, 0.2, 0.0, tray_off, 1.0, to_mm2, "")


def _told(recipe=HEAD, weight=None, today=date(2026, 6, 1), **drawn):
    table, truth = logistic_tray(
        **{"days": np.arange(15, 33, 3), "final": 80_000.0, "middle": 40.0, "noise": 0.02} | drawn
    )
    curves = growth_curves(table, recipe=recipe, settings=CurveSettings())
    return forecast_tray(
        curves, recipe=recipe, tray=TRAY, today=today, settings=ForecastSettings(), weight=weight
    ), truth


def test_grams_of_the_plants_that_are_ready():
    told, (finals, rates, middles) = _told(weight=_model())
    das = told.daily["das"].to_numpy() + 0.5
    areas = finals[:, None] / (1 + np.exp(-rates[:, None] * (das - middles[:, None])))
    truth = np.where(areas >= 32_000, 0.002 * areas, 0).sum(axis=0)
    held = (told.daily["grams_low"] <= truth) & (truth <= told.daily["grams_high"])
    assert held.mean() >= 0.8  # days of one tray stand and fall together
    assert (told.daily["note"] == "").all()
    # Every plant that is ready weighs at least 64 g by the model.
    assert (told.daily["grams"] >= 64 * told.daily["ready"] - 1e-9).all()


def test_a_tray_range_is_wider_than_that_of_its_areas():
    wide, narrow = (_told(weight=_model(tray_off=off))[0].daily.iloc[-1] for off in (0.3, 0.0))
    assert wide["grams_high"] - wide["grams_low"] > narrow["grams_high"] - narrow["grams_low"]
    assert wide["grams"] == pytest.approx(narrow["grams"])


def test_no_grams_without_weights_or_outside_the_weighed_areas():
    told, _ = _told()
    assert told.daily["grams"].isna().all()
    assert (told.daily["note"] == "no grams: nothing was weighed and the recipe has no curve").all()
    outside, _ = _told(weight=_model(to_mm2=33_000.0))
    last = outside.daily.iloc[-1]
    assert np.isnan(last["grams"])
    assert last["note"].startswith("no grams: ")
    assert last["note"].endswith(" % of the plants lie outside the areas that weights are known for")


def test_uncalibrated_grams_are_marked_and_have_no_range():
    told, _ = _told(weight=_model(calibrated=False, tray_off=np.nan))
    assert (told.daily["note"] == "uncalibrated; no range: too few whole trays were weighed").all()
    assert told.daily[["grams_low", "grams_high"]].isna().all(axis=None)
    assert told.daily["grams"].notna().all()


def test_weight_of_an_area_outside_is_that_of_the_nearest_end():
    grams, inside = expected_grams(_model(to_mm2=10_000.0), np.array([5_000.0, 20_000.0]), np.array([30.0, 30.0]))
    np.testing.assert_allclose(grams, [10.0, 20.0])
    assert inside.tolist() == [True, False]


def test_seedlings_that_grow_too_large_are_late():
    # Recipe: ready from 1000 mm², too large from 6000 mm², too old from day 35. The middle plant,
    # 50,000/(1 + e^(0.25·(30 − t))), passes 6000 mm² on day 30 − ln(50,000/6000 − 1)/0.25 = 22.03.
    told, _ = _told(SEEDLING, days=np.arange(8, 20, 2), final=50_000.0, middle=30.0, today=date(2026, 5, 20))
    assert told.plants["late_das"].median() == pytest.approx(22.0, abs=1.0)
    assert told.plants["late_risk"].median() > 0.95
    assert told.daily["late"].iloc[-1] == pytest.approx(48, abs=2)  # slow plants may hold out
    assert told.daily["ready"].iloc[-1] == pytest.approx(0, abs=2)
    assert told.tray["late_das"].iloc[0] < told.plants["late_das"].median()


def test_heads_are_late_by_age_alone():
    told, _ = _told()
    assert (told.plants["late_das"] == 60).all()  # last day of the recipe's age
    assert told.plants["late_risk"].max() == 0.0  # day 31 + 14
