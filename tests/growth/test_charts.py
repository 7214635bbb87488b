from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import false_discovery_control

from canopy.growth.charts import ewma, ewma_sd, limit_for, run_length

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: 20 values, target 50, s 2.0539, lambda 0.3, k 3.
NIST = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4,
        53.6, 52.1]  # fmt: skip


def test_handbook_example():
    average = ewma(np.array(NIST), smoothing=0.3, start=50.0)
    # Printed to two decimals.
    np.testing.assert_allclose(average[:5], [50.60, 49.52, 50.56, 50.18, 50.16], atol=0.006)
    np.testing.assert_allclose(average[-5:], [49.92, 50.73, 51.23, 51.94, 51.99], atol=0.006)
    steady = 3 * 2.0539 * ewma_sd(200, smoothing=0.3)[-1]
    assert 50 + steady == pytest.approx(52.5884, abs=5e-4)
    assert 50 - steady == pytest.approx(47.4115, abs=5e-4)


# Lucas & Saccucci (1990, Technometrics 32:1), their table of average run lengths: lambda, L, ARL at 0 and at 1 sd.
# Printed to 0.1 at ARL 10 and to whole units at 500 (from memory; recomputed by an integral equation elsewhere).
@pytest.mark.parametrize(
    ("smoothing", "limit", "at_one"),
    [(0.40, 3.054, 14.3), (0.25, 2.998, 11.1), (0.20, 2.962, 10.5), (0.10, 2.814, 10.3), (0.05, 2.615, 11.4)],
)
def test_published_run_lengths(smoothing, limit, at_one):
    # Limits have three decimals: 0.0005 of a limit of 3 is 0.2 % of a run length of 500.
    assert run_length(limit, smoothing=smoothing) == pytest.approx(500, abs=1.5)
    assert run_length(limit, smoothing=smoothing, shift=1.0) == pytest.approx(at_one, abs=0.06)


def test_smoothing_of_one_is_the_classical_chart():
    # 3 sd limits on single values: 1/(2 · 0.00135) = 370.4, the handbook figure.
    assert run_length(3.0, smoothing=1.0) == pytest.approx(370.398, abs=0.01)


@pytest.mark.parametrize(("smoothing", "limit"), [(0.2, 2.86), (0.1, 2.703)])
def test_limit_for_a_run_length(smoothing, limit):
    # ARL 371 by the same tables, limits to two and three decimals.
    assert limit_for(370.4, smoothing=smoothing) == pytest.approx(limit, abs=5e-3)


def test_run_length_by_simulation():
    rng = np.random.default_rng(8)
    smoothing, limit = 0.3, limit_for(50.0, smoothing=0.3)
    average = ewma(rng.normal(size=(600, 4000)), smoothing=smoothing)
    outside = np.abs(average) > limit * np.sqrt(smoothing / (2 - smoothing))
    first = np.where(outside.any(axis=0), outside.argmax(axis=0) + 1, 600)
    # Run lengths are about geometric: the mean of 4000 is known to 50/root(4000) = 0.8.
    assert first.mean() == pytest.approx(50, abs=2.4)


def test_missing_values_leave_the_average():
    x = np.array([[1.0, np.nan], [np.nan, 2.0], [1.0, 2.0]])
    np.testing.assert_allclose(ewma(x, smoothing=0.5), [[0.5, 0.0], [0.5, 1.0], [0.75, 1.5]])
    assert ewma(np.zeros((0, 3)), smoothing=0.5).shape == (0, 3)


def test_false_discovery_control_is_that_of_the_paper():
    # Benjamini & Hochberg (1995, J. R. Stat. Soc. B 57:289), their example of 15 comparisons: at 0.05 the four smallest
    # are rejected, by Bonferroni three.
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528,
         0.7590, 1.0]  # fmt: skip
    assert (false_discovery_control(p) <= 0.05).sum() == 4
    # By hand: p_(i) ≤ 0.05 i/10 last at i = 2, 0.008 ≤ 0.010.
    ten = [0.001, 0.008, 0.039, 0.041, 0.042, 0.06, 0.074, 0.205, 0.212, 0.216]
    assert (false_discovery_control(ten) <= 0.05).sum() == 2
