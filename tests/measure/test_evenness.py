from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from canopy.measure.evenness import (
    christiansen_cu,
    cv,
    du_lq,
    emergence,
    evenness_score,
    gini,
    robust_cv,
    robust_z,
    two_sizes,
)

# Two published catch-can examples of irrigation audits (depths in one test area each).
X15 = [47, 42, 45, 24, 13, 26, 33, 34, 27, 30, 40, 44, 32, 12, 12]
Y16 = [12, 11.5, 10.8, 9.2, 12.3, 11.9, 10.1, 8.7, 12.1, 11.7, 10.5, 9, 12.2, 11.6, 10.3, 8.5]


def test_catch_can_examples():
    assert christiansen_cu(X15) == pytest.approx(69.13955, abs=1e-5)  # published, recomputed to 5 decimals
    assert christiansen_cu(Y16) == pytest.approx(89.4142, abs=5e-5)
    assert du_lq(X15) == pytest.approx(49.62039, abs=1e-5)  # published; its quarter of 15 is 4 values
    assert du_lq(Y16) == pytest.approx(82.13457, abs=1e-5)  # published 82.13
    assert du_lq(X15, quarter="floor") == pytest.approx(40.130, abs=5e-4)  # 3 lowest: 100·(37/3)/30.7333, by hand
    assert cv(X15) == pytest.approx(0.386262, abs=1e-6)
    assert robust_cv(X15) == pytest.approx(8 * 1.4826 / 32, abs=1e-9)  # median 32, MAD 8, by eye
    assert gini(X15) == pytest.approx(0.21085, abs=5e-6)


# Made with R 4.2 (spdep, base) on the published tables: mean, CV %, Gini, CU %, DU % with floor(n/4), MAD unscaled.
R_TABLE = [
    ("wheat", 3.94864, 11.606011, 0.065757932, 90.613753, 85.266826, 0.325),
    ("wheat 5x5", 4.1644, 11.399058, 0.062380175, 91.294592, 85.326418, 0.36),
    ("B1", 6.815, 65.079947, 0.36084079, 45.452678, 30.873074, 3.35),
    ("B2", 7.282, 65.162426, 0.36227959, 45.606701, 27.904422, 3.7),
    ("B3", 6.8070707, 74.355980, 0.41199051, 38.805176, 19.097789, 3.5),
    ("B4", 7.426, 66.151591, 0.37502020, 44.161056, 22.407757, 4.05),
]


@pytest.mark.parametrize(("name", "mean", "cv_percent", "gini_", "cu", "du", "mad"), R_TABLE)
def test_published_fields(name, mean, cv_percent, gini_, cu, du, mad, wheat, radish):
    values = {"wheat": wheat, "wheat 5x5": wheat[:5, :5], **radish}[name]
    # R printed 8 digits of each.
    assert np.nanmean(values) == pytest.approx(mean, rel=1e-7)
    assert 100 * cv(values) == pytest.approx(cv_percent, rel=1e-7)
    assert gini(values) == pytest.approx(gini_, rel=1e-7)
    assert christiansen_cu(values) == pytest.approx(cu, rel=1e-7)
    assert du_lq(values, quarter="floor") == pytest.approx(du, rel=1e-7)
    assert robust_cv(values) == pytest.approx(1.4826 * mad / np.nanmedian(values), rel=1e-7)


@pytest.mark.parametrize(("values", "expected"), [([1, 2, 3, 4, 5], 4 / 15), ([0, 0, 0, 1], 0.75), ([3, 3, 3], 0.0)])
def test_gini_by_hand(values, expected):
    assert gini(values) == pytest.approx(expected, abs=1e-12)


def test_gini_is_half_the_relative_mean_difference():
    x = np.random.default_rng(1).gamma(3, 10, 60)
    # Definition with divisor n² (Weiner & Solbrig 1984): mean |xi - xj| / (2 mean).
    assert gini(x) == pytest.approx(np.abs(x[:, None] - x[None]).mean() / (2 * x.mean()), rel=1e-12)


def test_normal_values_tie_the_measures_together():
    # Normal distribution: CU = 100(1 − 0.79788·CV), DU = 100(1 − 1.27111·CV) (√(2/π); mean of its lowest quarter).
    x = stats.norm.ppf((np.arange(4000) + 0.5) / 4000, loc=100, scale=12)
    assert christiansen_cu(x) == pytest.approx(100 * (1 - 0.79788 * 0.12), abs=0.01)  # quantiles cut the tails: 1e-4
    assert du_lq(x) == pytest.approx(100 * (1 - 1.27111 * 0.12), abs=0.01)


def test_robust_z():
    # 1.4826·MAD = 1.4826, median 50: the last value is 25/1.4826 above it.
    assert robust_z([50, 52, 49, 51, 48, 50, 75])[-1] == pytest.approx(16.862, abs=1e-3)
    assert np.isnan(robust_z([5, 5, 5, 5, 9])).all()


@pytest.mark.parametrize("values", [[], [np.nan, np.nan], [0.0, 0.0]])
def test_undefined_is_missing_without_warning(values):
    for measure in (cv, robust_cv, christiansen_cu, du_lq, gini):
        assert math.isnan(measure(values))


def test_missing_values_are_left_out():
    holes = [np.nan, *X15, np.nan]
    for measure in (cv, robust_cv, christiansen_cu, du_lq, gini):
        assert measure(holes) == measure(X15)


def test_emergence():
    assert emergence(60, 72) == pytest.approx(0.8333333, abs=1e-7)
    assert math.isnan(emergence(0, 0))


def test_evenness_score_counts_gaps_as_zeros():
    plants = np.array([10.0, 12.0, 9.0, 15.0])
    expected = 100 * (1 - gini([*plants, 0, 0]))  # the identity its description promises
    assert evenness_score(plants, cells=6) == pytest.approx(expected, rel=1e-12)
    assert evenness_score([5, 5, 5], cells=3) == pytest.approx(100)
    assert evenness_score([], cells=6) == 0
    assert math.isnan(evenness_score([], cells=0))


def test_two_sizes():
    # {1,1,2,2 | 9,9,10,10}: total SS = 130, within = 2·(4·0.25) = 2, so 128/130 lies between; by hand.
    share, small = two_sizes([1, 9, 2, 10, 1, 9, 2, 10])
    assert share == pytest.approx(128 / 130, rel=1e-12)
    assert small == 0.5
    share, small = two_sizes([1, 10, 10, 10, 10])
    assert share == pytest.approx(1)
    assert small == pytest.approx(0.2)


def test_two_sizes_of_known_distributions():
    normal = stats.norm.ppf((np.arange(2000) + 0.5) / 2000)
    assert two_sizes(normal)[0] == pytest.approx(2 / math.pi, abs=0.002)  # 2/π for a halved normal; tails are cut
    assert two_sizes(np.arange(2000.0))[0] == pytest.approx(0.75, abs=0.001)  # halves of an even spread: 1 − 1/4


@pytest.mark.parametrize("values", [[], [1, 2, 3], [4, 4, 4, 4, 4]])
def test_two_sizes_undefined(values):
    assert all(math.isnan(x) for x in two_sizes(values))
