from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from canopy.growth.rate import classical_rate, fitted_rate


def test_classical_rate_is_mean_of_logs():
    # Harvests {1, 2, 4} and {8, 8, 8} seven days apart: (3 ln 2 − ln 2)/7 = 0.198042 by hand. The logarithm of mean
    # sizes would give ln(8/2.3333)/7 = 0.176021, the bias that Hoffmann & Poorter (2002, Ann. Bot. 90:37) describe.
    assert classical_rate([1, 2, 4], [8, 8, 8], days=7).per_day == pytest.approx(2 * math.log(2) / 7, abs=1e-12)


def test_textbook_doubling():
    # The standard classroom case (Hunt 1990, Basic Growth Analysis, from memory): 10 g to 20 g in 5 days is
    # ln 2/5 = 0.1386 per day.
    rate = classical_rate([10.0], [20.0], days=5)
    assert rate.per_day == pytest.approx(0.138629, abs=1e-6)
    assert rate.doubling_days == pytest.approx(5.0, abs=1e-12)
    assert math.isnan(rate.se)


def test_standard_error_is_that_of_a_difference_of_means():
    first, second = [1.0, 1.3, 0.8, 1.1], [4.0, 5.5, 4.6]
    # Welch's t is the difference of means over its standard error (scipy's as reference).
    t = stats.ttest_ind(np.log(second), np.log(first), equal_var=False)
    rate = classical_rate(first, second, days=6)
    assert rate.per_day / rate.se == pytest.approx(t.statistic, rel=1e-12)


def test_fitted_rate_agrees_with_scipy():
    das, size = [3, 5, 8, 9, 12], [2.0, 3.1, 7.2, 8.0, 18.5]
    reference = stats.linregress(das, np.log(size))
    rate = fitted_rate(das, size)
    assert rate.per_day == pytest.approx(reference.slope, rel=1e-12)
    assert rate.se == pytest.approx(reference.stderr, rel=1e-12)


def test_missing_and_impossible_sizes_are_left_out():
    assert classical_rate([1, np.nan, 0], [2, -3], days=1).per_day == pytest.approx(math.log(2))
    assert math.isnan(classical_rate([], [2.0], days=1).per_day)
    assert math.isnan(fitted_rate([1, 1], [2.0, 3.0]).per_day)
    assert math.isnan(fitted_rate([], []).per_day)
    assert math.isnan(fitted_rate([1, 2], [2.0, 3.0]).se)
    assert math.isnan(fitted_rate([1, 2], [3.0, 2.0]).doubling_days)


def test_days_must_run_forward():
    with pytest.raises(ValueError, match="must be above 0, got -2"):
        classical_rate([1.0], [2.0], days=-2)
