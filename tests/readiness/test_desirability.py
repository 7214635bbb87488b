"""Desirabilities against Derringer & Suich 1980 and the NIST/SEMATECH e-Handbook, section 5.5.3.2.2."""

from __future__ import annotations

import math

import numpy as np
import pytest

from canopy.readiness.desirability import (
    desirability,
    desirability_range,
    larger_is_best,
    limiting_index,
    readiness_score,
    readiness_sd,
    smaller_is_best,
    target_is_best,
)
from canopy.records.recipe import Criterion

# Float arithmetic of a handful of operations on numbers near 1.
EXACT = 1e-12


@pytest.mark.parametrize(
    ("y", "d"), [(19, 0.0), (20, 0.0), (60, 0.5), (100, 1.0), (130, 1.0)]
)  # straight line, by hand
def test_larger_is_best_is_a_straight_line_between_its_limits(y: float, d: float) -> None:
    assert larger_is_best(y, low=20, target=100) == pytest.approx(d, abs=EXACT)


@pytest.mark.parametrize(("exponent", "d"), [(2.0, 0.25), (0.5, math.sqrt(0.5))])  # 0.5^s by hand
def test_exponent_above_one_is_strict_below_one_lenient(exponent: float, d: float) -> None:
    assert larger_is_best(60, low=20, target=100, exponent=exponent) == pytest.approx(d, abs=EXACT)


@pytest.mark.parametrize(("y", "d"), [(0.0, 1.0), (0.1, 1.0), (0.2, 0.5), (0.3, 0.0), (0.9, 0.0)])  # by hand
def test_smaller_is_best(y: float, d: float) -> None:
    assert smaller_is_best(y, target=0.1, high=0.3) == pytest.approx(d, abs=EXACT)


@pytest.mark.parametrize(("y", "d"), [(5, 0), (7, 0.5), (9, 1), (14, 1), (20, 1), (25, 0.5), (30, 0), (31, 0)])
def test_target_with_a_stretch_at_one(y: float, d: float) -> None:
    # (7−5)/(9−5) and (30−25)/(30−20), by hand
    got = target_is_best(y, low=5, target=9, target_high=20, high=30)
    assert got == pytest.approx(d, abs=EXACT)


def test_target_exponents_act_on_their_own_side() -> None:
    limits = {"low": 0.0, "target": 10.0, "high": 20.0, "low_exponent": 2.0, "high_exponent": 3.0}
    got = target_is_best([5.0, 15.0], **limits)  # type: ignore[arg-type]
    assert got == pytest.approx([0.25, 0.125], abs=EXACT)  # 0.5², 0.5³


# Tyre tread: limits of the NIST/SEMATECH e-Handbook 5.5.3.2.2. Responses at the optimum of Derringer & Suich 1980 and
# their desirabilities are from memory: .189, 1, .656, .932, with D = 0.583 as printed.
TYRE_Y = (129.5, 1300.0, 465.7, 68.0)


def tyre_desirabilities() -> list[float]:
    abrasion, modulus, elongation, hardness = TYRE_Y
    return [
        float(larger_is_best(abrasion, low=120, target=170)),
        float(larger_is_best(modulus, low=1000, target=1300)),
        float(target_is_best(elongation, low=400, target=500, high=600)),
        float(target_is_best(hardness, low=60, target=67.5, high=75)),
    ]


def test_tyre_tread_desirabilities() -> None:
    # .190, 1, .657, .933 by the formulas; the article's differ by its rounding of the responses (one unit of the third
    # decimal), hence 0.0015.
    assert tyre_desirabilities() == pytest.approx([0.189, 1.0, 0.656, 0.932], abs=0.0015)
    assert tyre_desirabilities() == pytest.approx([0.19, 1.0, 0.657, 0.93333333], abs=1e-8)


def test_tyre_tread_overall_desirability() -> None:
    # 0.584237 = (0.19 · 1 · 0.657 · 0.93333)^(1/4), six decimals recomputed by script.
    assert readiness_score(tyre_desirabilities(), [1, 1, 1, 1]) == pytest.approx(0.584237, abs=5e-7)


def test_overall_desirability_from_the_articles_rounded_values() -> None:
    # D = 0.583 in the article (from memory); 0.5830 with its rounded desirabilities.
    assert readiness_score([0.189, 1.0, 0.656, 0.932], [1, 1, 1, 1]) == pytest.approx(0.5830, abs=1e-4)


def test_handbook_optimum() -> None:
    # e-Handbook's own optimum, from memory: d = .34, 1.0, .49, .76, D = 0.596; rounded d allow 0.001.
    assert readiness_score([0.34, 1.0, 0.49, 0.76], [1, 1, 1, 1]) == pytest.approx(0.596, abs=1e-3)


def test_weighted_line() -> None:
    # exp(.4 ln .95 + .2 ln .9 + .2 ln .7) = 0.893218 by calculator
    assert readiness_score([0.95, 0.9, 0.7, 1.0], [0.4, 0.2, 0.2, 0.2]) == pytest.approx(0.893218, abs=5e-7)


def test_only_ratios_of_weights_matter() -> None:
    a, b = readiness_score([0.95, 0.9], [0.4, 0.2]), readiness_score([0.95, 0.9], [4, 2])
    assert a == pytest.approx(float(b), abs=EXACT)


def test_one_zero_makes_the_score_zero() -> None:
    assert readiness_score([0.0, 1.0, 1.0], [0.01, 1, 1]) == 0.0


def test_missing_is_missing_and_not_zero() -> None:
    assert math.isnan(float(readiness_score([0.9, np.nan], [1, 1])))
    assert math.isnan(float(readiness_score([0.0, np.nan], [1, 1])))
    assert math.isnan(float(larger_is_best(np.nan, low=0, target=1)))


def test_missing_without_weight_takes_no_part() -> None:
    assert readiness_score([0.25, np.nan], [1, 0]) == pytest.approx(0.25, abs=EXACT)


def test_no_weight_at_all_gives_no_score() -> None:
    assert math.isnan(float(readiness_score([0.9, 0.9], [0, 0])))


def test_sd_by_the_delta_method() -> None:
    # D √((.4·.05/.95)² + (.2·.03/.9)² + (.2·.02/1)²) = 0.020046 by calculator
    got = readiness_sd([0.95, 0.9, 0.7, 1.0], [0.05, 0.03, 0.0, 0.02], [0.4, 0.2, 0.2, 0.2])
    assert got == pytest.approx(0.020046, abs=5e-7)


def test_sd_is_not_claimed_at_zero() -> None:
    assert math.isnan(float(readiness_sd([0.0, 1.0], [0.1, 0.1], [1, 1])))


def test_limiting_is_the_largest_lift_not_the_smallest_desirability() -> None:
    # .5^(.1/1) = .933 lifts less than .8^(.9/1) = .818
    assert limiting_index([0.5, 0.8], [0.1, 0.9], ["age", "size"]) == 1


def test_limiting_against_leaving_out_one_by_one() -> None:
    rng = np.random.default_rng(5)
    d, w = rng.uniform(0.05, 0.99, (200, 4)), np.array([0.4, 0.15, 0.2, 0.25])
    lifted = np.stack([readiness_score(np.where(np.arange(4) == k, 1.0, d), w) for k in range(4)], axis=1)
    np.testing.assert_array_equal(limiting_index(d, w, ["size", "colour", "age", "health"]), lifted.argmax(axis=1))


def test_limiting_ties_go_to_weight_then_name() -> None:
    assert limiting_index([0.0, 0.0, 1.0], [0.2, 0.3, 0.5], ["age", "size", "health"]) == 1
    assert limiting_index([0.5, 0.5], [1, 1], ["size", "age"]) == 1


def test_nothing_is_limiting_when_all_is_well_or_unknown() -> None:
    assert limiting_index([1.0, 1.0], [1, 1], ["size", "age"]) == -1
    assert limiting_index([0.5, np.nan], [1, 1], ["size", "age"]) == -1


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [(6, 8, (0.25, 0.75)), (7, 10, (0.5, 1.0)), (3, 40, (0.0, 1.0)), (24, 26, (0.4, 0.6)), (12, 15, (1.0, 1.0))],
)  # target 9..20 within 5..30, straight lines, by hand
def test_range_of_a_desirability(low: float, high: float, expected: tuple[float, float]) -> None:
    criterion = Criterion(better="target", low=5, target=9, target_high=20, high=30, weight=1, source="ours")
    got = desirability_range(low, high, criterion)
    assert (float(got[0]), float(got[1])) == pytest.approx(expected, abs=EXACT)


def test_range_of_a_desirability_holds_every_value_between() -> None:
    criterion = Criterion(better="target", low=5, target=9, high=30, low_exponent=2, weight=1, source="ours")
    ends = np.sort(np.random.default_rng(2).uniform(0, 40, (50, 2)), axis=1)
    least, most = desirability_range(ends[:, 0], ends[:, 1], criterion)
    inside = desirability(np.linspace(ends[:, 0], ends[:, 1], 101), criterion)
    assert np.all(inside >= least - EXACT)
    assert np.all(inside <= most + EXACT)
