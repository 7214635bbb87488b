from __future__ import annotations

import math

import numpy as np
import pytest

from canopy.growth.shapes import SHAPES, ln_area, reached_at, relative_rate, slopes

LOGISTIC = np.array([math.log(900.0), math.log(0.35), 18.0])  # K 900, r 0.35, tm 18
GOMPERTZ = np.array([math.log(900.0), math.log(0.12), math.log(4.5) / 0.12])  # K 900, b 4.5, c 0.12
EXPOLINEAR = np.array([math.log(20.0), math.log(0.3), 15.0])  # cm 20, rm 0.3, tb 15
THETA = {"logistic": LOGISTIC, "gompertz": GOMPERTZ, "expolinear": EXPOLINEAR}


# The formulas by pocket calculator: K/(1+e^(−r(t−tm))), K·exp(−b·e^(−ct)), and (cm/rm)·ln(1+e^(rm(t−tb))) of
# Goudriaan & Monteith (1990, Ann. Bot. 66:695); three decimals are given, so half a unit of the last one is allowed.
@pytest.mark.parametrize(
    ("shape", "t", "area"),
    [
        ("logistic", 10, 51.592), ("logistic", 18, 450.0), ("logistic", 25, 828.505),
        ("gompertz", 10, 232.066), ("gompertz", 20, 598.343), ("gompertz", math.log(4.5) / 0.12, 900 / math.e),
        ("expolinear", 15, 46.210), ("expolinear", 25, 203.239),
    ],
)  # fmt: skip
def test_areas_by_formula(shape, t, area):
    assert np.exp(ln_area(shape, THETA[shape], np.array([float(t)])))[0] == pytest.approx(area, abs=6e-4)


# 80 % of K: tm + ln 4/r and ti − ln(ln 1.25)/c, given to three decimals.
@pytest.mark.parametrize(("shape", "day"), [("logistic", 21.961), ("gompertz", 25.033)])
def test_day_of_80_percent(shape, day):
    assert reached_at(shape, THETA[shape], 720.0) == pytest.approx(day, abs=6e-4)


@pytest.mark.parametrize("shape", SHAPES)
def test_day_reached_undoes_area(shape):
    t = np.array([-5.0, 2.0, 12.0, 18.0, 30.0])
    areas = np.exp(ln_area(shape, THETA[shape], t))
    # Float rounding only; on the flat part of a curve it is enlarged by 1/rate, at most 1e3 here.
    np.testing.assert_allclose([reached_at(shape, THETA[shape], a) for a in areas], t, atol=1e-9)


def test_final_area_is_never_passed():
    assert math.isinf(reached_at("logistic", LOGISTIC, 900.0))
    assert math.isinf(reached_at("gompertz", GOMPERTZ, 1000.0))
    assert reached_at("expolinear", EXPOLINEAR, 2000.0) == pytest.approx(15 + 2000 / 20, abs=1e-9)  # a straight line


@pytest.mark.parametrize("shape", SHAPES)
def test_slopes_and_rate_are_derivatives(shape):
    theta, t, h = THETA[shape], np.linspace(0, 40, 9), 1e-6
    # Central differences of step h err by h² and by rounding 1e-16/h = 1e-10.
    for k, e in enumerate(h * np.eye(3)):
        numeric = (ln_area(shape, theta + e, t) - ln_area(shape, theta - e, t)) / (2 * h)
        np.testing.assert_allclose(slopes(shape, theta, t)[:, k], numeric, atol=1e-8)
    rate = (ln_area(shape, theta, t + h) - ln_area(shape, theta, t - h)) / (2 * h)
    np.testing.assert_allclose(relative_rate(shape, theta, t), rate, atol=1e-8)


def test_rates_known_by_algebra():
    # Logistic at tm grows by rK/4 a day on K/2: r/2. Gompertz at ti by Kc/e on K/e: c. Expolinear slope at tb is cm/2.
    assert relative_rate("logistic", LOGISTIC, np.array([18.0]))[0] == pytest.approx(0.175, abs=1e-12)
    assert relative_rate("gompertz", GOMPERTZ, GOMPERTZ[2:])[0] == pytest.approx(0.12, abs=1e-12)
    start = np.exp(ln_area("expolinear", EXPOLINEAR, np.array([15.0])))[0]
    assert relative_rate("expolinear", EXPOLINEAR, np.array([15.0]))[0] * start == pytest.approx(10.0, abs=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
def test_far_times_neither_overflow_nor_lose_the_rate(shape):
    far = np.array([-1e6, 1e6])
    assert np.isfinite(slopes(shape, THETA[shape], far)[:, 0]).all()
    assert np.isfinite(relative_rate(shape, THETA[shape], far)).all()
