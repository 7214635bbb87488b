"""The best moment of each plant."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from growth.drawing import logistic_tray

from canopy.growth import forecast_tray, growth_curves
from canopy.plan.moment import best_days, expected_worth
from canopy.readiness.recipes import recipe_for
from canopy.records import Layout, TrayRecord
from canopy.settings.growth import CurveSettings, ForecastSettings

HEAD = recipe_for("butterhead", "finish")
LAYOUT = Layout(
    name="6x8", rows=6, columns=8, pitch_x_mm=200, pitch_y_mm=220, outline_width_mm=1700, outline_height_mm=1400
)
TRAY = TrayRecord(tray="T1", layout=LAYOUT, crop="butterhead", stage="finish", sown_on=date(2026, 5, 1))


def test_the_best_day_by_hand():
    # A day costs 0.1: worth less cost is 0.2, 0.5, 0.5, 0.2 for the first plant (the earlier of equal days is taken)
    # and falls from the first day on for the second.
    worth = np.array([[0.2, 0.6, 0.7, 0.5], [0.5, 0.55, 0.6, 0.6]])
    assert best_days(worth, day_cost=0.1).tolist() == [1, 0]
    assert best_days(worth, day_cost=0.0).tolist() == [2, 2]


def test_expected_worth_follows_size_and_age():
    table, (finals, rates, middles) = logistic_tray(days=np.arange(15, 63, 3), noise=0.0, final=80_000.0, middle=40.0)
    curves = growth_curves(table, recipe=HEAD, settings=CurveSettings())
    course = forecast_tray(curves, recipe=HEAD, tray=TRAY, today=date(2026, 6, 1), settings=ForecastSettings()).course
    das = np.array([20.5, 31.5, 40.5, 50.5, 61.0])
    worth = expected_worth(course, recipe=HEAD, das=das)
    assert worth.shape == (48, 5)
    assert (worth[:, 0] == 0).all()  # before the recipe's least age, 30 days
    assert (worth[:, 4] == 0).all()  # past its last, 60 days
    area = finals / (1 + np.exp(-rates * (50.5 - middles)))
    size, age = np.clip((area - 12_000) / 20_000, 0, 1), (60 - 50.5) / 15
    by_hand = np.where(area >= 20_000, (size**0.4 * age**0.2) ** (1 / 0.6), 0)
    # Curves of 16 readings without noise: areas to a percent, which moves the worth by less than 0.02.
    assert worth[:, 3] == pytest.approx(by_hand, abs=0.02)
