from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal

from canopy.growth.expected import Expected
from canopy.growth.fit import Data
from canopy.growth.pool import Photos, fit_pooled
from canopy.growth.shapes import ln_area, slopes
from canopy.settings.growth import CurveSettings

SETTINGS = CurveSettings()
WIDE = Expected(np.array([math.log(15), math.log(0.12), 50.0]), np.diag([4.0, 1.0, 400.0]), np.diag([0.06, 0.02, 16.0]))


def _soybean():
    table = pd.read_csv(Path(__file__).parent.parent / "truth" / "soybean_leaf_weight.csv", comment="#")
    plots = [plot for _, plot in table.groupby("Plot")]
    shape = (len(plots), max(map(len, plots)))
    t, y, seen = np.zeros(shape), np.ones(shape), np.zeros(shape, dtype=bool)
    for i, plot in enumerate(plots):
        t[i, : len(plot)], y[i, : len(plot)], seen[i, : len(plot)] = plot["Time"], plot["weight"], True
    return Data(t, y, np.ones(shape), seen, natural=True)


def test_soybean_as_in_the_published_mixed_model():
    # Pinheiro & Bates (2000), logistic mixed model of the 48 plots by nlme: Asym 19.2530, xmid 55.0198, scal 8.40332;
    # random standard deviations 5.2012, 4.1975, 1.4047; residual 1.12346. Theirs is normal in Asym and scal, ours in
    # their logarithms, so means of the plots' own numbers are compared, within 2.5 % (the sd of Asym over root 48 is
    # 4 % of Asym: far less than any two plots differ).
    fit = fit_pooled("logistic", _soybean(), expected=WIDE, settings=SETTINGS)
    assert np.exp(fit.theta[:, 0]).mean() == pytest.approx(19.2530, rel=0.025)
    assert fit.theta[:, 2].mean() == pytest.approx(55.0198, rel=0.025)
    assert np.exp(-fit.theta[:, 1]).mean() == pytest.approx(8.40332, rel=0.025)
    assert fit.sigma == pytest.approx(1.12346, rel=0.05)
    # Spreads of 48 plots are known to 1/root(2·48) = 10 %; two of those.
    assert math.sqrt(fit.plants[2, 2]) == pytest.approx(4.1975, rel=0.2)
    assert math.sqrt(fit.plants[0, 0]) == pytest.approx(5.2012 / 19.2530, rel=0.2)


def _line_data(t, y, sd):
    return Data(np.array([t]), np.array([y]), np.full((1, len(t)), sd), np.ones((1, len(t)), dtype=bool))


def test_one_plant_without_readings_is_what_was_expected():
    none = Data(np.zeros((2, 1)), np.zeros((2, 1)), np.ones((2, 1)), np.zeros((2, 1), dtype=bool))
    fit = fit_pooled("gompertz", none, expected=WIDE, settings=SETTINGS)
    np.testing.assert_allclose(fit.theta, np.tile(WIDE.mean, (2, 1)), atol=1e-6)
    # Nothing was learnt: a plant varies round its tray and the tray round the crop.
    np.testing.assert_allclose(fit.covariance[0], fit.plants + WIDE.trays, rtol=1e-6)


def test_few_readings_lean_on_the_crop_many_on_the_plant():
    theta = np.array([math.log(30.0), math.log(0.2), 40.0])
    gaps = []
    for count in (1, 3, 12):
        t = np.linspace(30, 60, count)
        fit = fit_pooled(
            "logistic", _line_data(t, ln_area("logistic", theta, t), 0.05), expected=WIDE, settings=SETTINGS
        )
        gaps.append(abs(fit.theta[0, 0] - theta[0]))
    assert gaps[0] > gaps[1] > gaps[2]
    # One young plant says nothing of its final size; twelve readings to far past the inflexion say all.
    assert gaps[2] < 0.05
    assert gaps[0] > 5 * gaps[2]


def test_marginal_likelihood_is_exact_for_a_straight_curve():
    # Far below its inflexion a logistic curve is ln K + r (t − tm), straight in ln K and tm: with ln r held still the
    # model is linear and normal, and the likelihood of the readings is a multivariate normal density (scipy).
    t = np.array([1.0, 2.0, 4.0])
    held = 1e-12
    expected = Expected(np.array([9.0, math.log(0.2), 80.0]), np.diag([0.3, held, 2.0]), np.diag([0.2, held, 1.0]))
    still = CurveSettings(prior_plants=1000, prior_readings=1000)
    y = ln_area("logistic", expected.mean, t) + np.array([0.1, 0.3, 0.2])
    fit = fit_pooled("logistic", _line_data(t, y, 0.1), expected=expected, settings=still)
    spread = (expected.trays + fit.plants)[np.ix_([0, 2], [0, 2])]
    slope = np.array([[1.0, -0.2]] * 3)
    normal = multivariate_normal(
        ln_area("logistic", expected.mean, t), slope @ spread @ slope.T + np.eye(3) * (0.1 * fit.sigma) ** 2
    )
    # The curve bends by e^(−15) and the rate moves by 1e-6: both far below the tolerance.
    assert fit.bic == pytest.approx(-2 * normal.logpdf(y), abs=1e-3)


def test_errors_that_a_photo_shares_do_not_make_the_tray_surer():
    rng = np.random.default_rng(4)
    t = np.tile(np.arange(20.0, 32.0, 3.0), (40, 1))
    theta = np.array([math.log(50_000), math.log(0.25), 30.0]) + rng.normal(0, 1, (40, 3)) * (0.2, 0.05, 1.0)
    y = ln_area("logistic", theta, t) + rng.normal(0, 0.04, t.shape)
    y[:, 2] -= 0.2  # everything wilted on the third photo
    expected = Expected(
        np.array([math.log(45_000), math.log(0.28), 32.0]), np.diag([0.1, 0.1, 25.0]), np.diag([0.04, 0.01, 1.0])
    )
    data = Data(t, y, np.full(t.shape, 0.05), np.ones(t.shape, dtype=bool), dof=SETTINGS.tail_dof)
    shared = fit_pooled(
        "logistic", data, expected=expected, settings=SETTINGS, photos=Photos(np.tile(np.arange(4), (40, 1)), 4)
    )
    alone = fit_pooled("logistic", data, expected=expected, settings=SETTINGS)
    assert np.abs(shared.tray[3:]).argmax() == 2
    assert shared.tray[3 + 2] < 0
    # What counts: days ahead, the truth lies in the range of the one and outside that of the other.
    ahead = np.array([40.0])
    truth = float(np.mean(ln_area("logistic", theta, np.tile(ahead, (40, 1)))))
    for fit, holds in ((shared, True), (alone, False)):
        slope = slopes("logistic", fit.tray[:3], ahead)[0]
        sd = math.sqrt(slope @ fit.tray_covariance[:3, :3] @ slope)
        assert bool(abs(ln_area("logistic", fit.tray[:3], ahead)[0] - truth) < 1.96 * sd) is holds
