from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from canopy.growth.single import best_curve, fit_curve, say_choice
from canopy.settings.growth import CurveSettings

SETTINGS = CurveSettings()
SOYBEAN = pd.read_csv(Path(__file__).parent.parent / "truth" / "soybean_leaf_weight.csv", comment="#")
PLOT = SOYBEAN[SOYBEAN["Plot"] == "1988F1"]
CHICK_DAYS = (0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 21)
# Body weights of chick 1 and trunk circumferences of tree 3 of R's classic growth tables (Crowder & Hand 1990, Draper &
# Smith 1998).
CHICK_1 = (42, 51, 59, 64, 76, 93, 106, 125, 149, 171, 199, 205)
TREE_DAYS, TREE_3 = (118, 484, 664, 1004, 1231, 1372, 1582), (30, 51, 75, 108, 115, 139, 140)

# R 4.2.2, nls with SSlogis: Asym, its standard error, xmid, scal, residual sum of squares, AIC.
R_LOGISTIC = [
    ("soybean plot", PLOT["Time"], PLOT["weight"], 20.338408, 0.859726, 57.402421, 9.604743, 1.0566451, 13.90391),
    ("soybean all", SOYBEAN["Time"], SOYBEAN["weight"],
     18.418208, 0.436263, 53.956206, 8.153499, 2096.7969, 1847.588),
    ("orange tree", TREE_DAYS, TREE_3, 158.82944, 15.0851, 734.8421, 400.9548, 156.67080, 49.62280),
]  # fmt: skip


@pytest.mark.parametrize(("t", "y", "asym", "se", "xmid", "scal", "rss", "aic"), [r[1:] for r in R_LOGISTIC])
def test_logistic_as_in_r(t, y, asym, se, xmid, scal, rss, aic):
    fit = fit_curve(t, y, shape="logistic", settings=SETTINGS, natural=True)
    # R stops when the relative offset is below 1e-5; both programs then agree to five digits or more.
    assert fit.pinned
    assert fit.final == pytest.approx(asym, rel=2e-5)
    assert fit.final_se == pytest.approx(se, rel=2e-5)
    assert fit.theta[2] == pytest.approx(xmid, rel=2e-5)
    assert 1 / math.exp(fit.theta[1]) == pytest.approx(scal, rel=2e-5)
    assert fit.sigma**2 * (len(t) - 3) == pytest.approx(rss, rel=1e-6)
    assert fit.aic == pytest.approx(aic, abs=1e-3)


def test_gompertz_as_in_r():
    # R 4.2.2, nls with SSgompertz on the same plot: Asym 27.004372 (3.534414), b2 14.304507, b3 0.9543060,
    # RSS 1.9576093, AIC 20.07016; in the rate form c = −ln b3 and ti = ln(b2)/c.
    fit = fit_curve(PLOT["Time"], PLOT["weight"], shape="gompertz", settings=SETTINGS, natural=True)
    c = math.exp(fit.theta[1])
    assert fit.final == pytest.approx(27.004372, rel=2e-5)
    assert fit.final_se == pytest.approx(3.534414, rel=2e-5)
    assert math.exp(-c) == pytest.approx(0.9543060, rel=1e-6)
    assert math.exp(c * fit.theta[2]) == pytest.approx(14.304507, rel=2e-5)
    assert fit.aic == pytest.approx(20.07016, abs=1e-3)


def test_choice_is_that_of_the_published_criteria():
    # AIC of R is 13.90 for the logistic and 20.07 for the Gompertz curve; BIC differs from it by the same constant.
    best, said = best_curve(
        PLOT["Time"], PLOT["weight"], settings=SETTINGS, shapes=("gompertz", "logistic"), natural=True
    )
    assert best.shape == "logistic"
    assert said == "logistic; gompertz is 6.2 worse in BIC"


def test_unclear_choice_is_said():
    said = say_choice({"logistic": 10.0, "gompertz": 11.5}, settings=SETTINGS)
    assert said == "logistic; gompertz is 1.5 worse in BIC, so the choice is not clear"
    assert say_choice({"gompertz": 1.0}, settings=SETTINGS) == "gompertz, the only curve tried"


def test_final_size_that_data_do_not_pin_down_is_said_and_not_used():
    # R: Asym 937.03 with standard error 465.87 for a chick whose last weight is 205 g.
    fit = fit_curve(CHICK_DAYS, CHICK_1, shape="logistic", settings=SETTINGS, natural=True)
    assert math.exp(fit.theta[0]) == pytest.approx(937.0301, rel=1e-4)  # a flat valley: R's own stop shows here
    assert math.sqrt(fit.covariance[0, 0]) == pytest.approx(465.868 / 937.0301, rel=1e-3)
    assert not fit.pinned
    assert math.isnan(fit.final)
    assert math.isnan(fit.final_se)
    assert fit.note.startswith("final size not pinned down (standard error 50 %; the last reading is at 22 % of it)")


@pytest.mark.parametrize("shape", ["logistic", "gompertz"])
def test_young_plants_pin_down_no_final_size(shape):
    early = PLOT[PLOT["Time"] <= 42]
    assert not fit_curve(early["Time"], early["weight"], shape=shape, settings=SETTINGS).pinned


def test_exact_curve_is_found_on_logarithms_too():
    t = np.arange(5.0, 40.0, 3.0)
    y = 20 / 0.3 * np.log1p(np.exp(0.3 * (t - 15)))
    fit = fit_curve(t, y, shape="expolinear", settings=SETTINGS)
    np.testing.assert_allclose(np.exp(fit.theta[:2]), [20, 0.3], rtol=1e-4)
    assert math.isnan(fit.final)  # a straight line has no end


def test_too_few_readings():
    with pytest.raises(ValueError, match="needs at least 4 sizes above 0 at 3 different times, got 3 at 3"):
        fit_curve([1, 2, 3, 4], [1, 2, 3, 0], shape="logistic", settings=SETTINGS)
