"""Desirabilities and their weighted geometric mean (Derringer & Suich 1980, J. Qual. Technol. 12(4):214-219).

The shapes are those of the NIST/SEMATECH e-Handbook of Statistical Methods, section 5.5.3.2.2.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canopy.records.recipe import Criterion

FloatArray = NDArray[np.float64]


def larger_is_best(value: ArrayLike, *, low: float, target: float, exponent: float = 1.0) -> FloatArray:
    """Desirability that rises from 0 at `low` to 1 at `target`: ((y − L)/(T − L))^s.

    Parameters
    ----------
    value : array_like
        Measurements in any unit; NaN gives NaN.
    low, target : float
        `low` < `target`, in the unit of `value`.
    exponent : float
        s; above 1 is strict (the desirability stays low for longer), below 1 lenient.

    Returns
    -------
    ndarray of float
        0..1, 0 below `low`, 1 above `target`.
    """
    return np.asarray(np.clip((np.asarray(value, float) - low) / (target - low), 0.0, 1.0) ** exponent)


def smaller_is_best(value: ArrayLike, *, target: float, high: float, exponent: float = 1.0) -> FloatArray:
    """Desirability that falls from 1 at `target` to 0 at `high`: ((U − y)/(U − T))^s; see `larger_is_best`."""
    return np.asarray(np.clip((high - np.asarray(value, float)) / (high - target), 0.0, 1.0) ** exponent)


def target_is_best(
    value: ArrayLike,
    *,
    low: float,
    target: float,
    high: float,
    target_high: float | None = None,
    low_exponent: float = 1.0,
    high_exponent: float = 1.0,
) -> FloatArray:
    """Desirability that is 1 at `target` (or from `target` to `target_high`) and 0 outside `low`..`high`.

    ((y − L)/(T − L))^s below the target, ((U − y)/(U − T))^t above it; see `larger_is_best`. The stretch at 1 is an
    addition of ours to the published shape: with `target_high` absent the two agree.
    """
    end = target if target_high is None else target_high
    rising = larger_is_best(value, low=low, target=target, exponent=low_exponent)
    falling = smaller_is_best(value, target=end, high=high, exponent=high_exponent)
    return np.minimum(rising, falling)


def desirability(value: ArrayLike, criterion: Criterion) -> FloatArray:
    """Desirability 0..1 of measurements under one criterion of a recipe; NaN where the measurement is missing."""
    c = criterion
    if c.better == "larger":
        return larger_is_best(value, low=_known(c.low), target=c.target, exponent=c.low_exponent)
    if c.better == "smaller":
        return smaller_is_best(value, target=c.target, high=_known(c.high), exponent=c.high_exponent)
    return target_is_best(
        value,
        low=_known(c.low),
        target=c.target,
        high=_known(c.high),
        target_high=c.target_high,
        low_exponent=c.low_exponent,
        high_exponent=c.high_exponent,
    )


def desirability_range(
    value_low: ArrayLike, value_high: ArrayLike, criterion: Criterion
) -> tuple[FloatArray, FloatArray]:
    """Smallest and largest desirability that a measurement between two values can have.

    Every shape rises, stays and falls at most once, so the smallest lies at an end; the largest does too unless the
    target lies between, where it is 1.
    """
    low, high = np.asarray(value_low, float), np.asarray(value_high, float)
    at_low, at_high = desirability(low, criterion), desirability(high, criterion)
    holds_target = (low <= criterion.target_end) & (high >= criterion.target)
    return np.minimum(at_low, at_high), np.where(holds_target, 1.0, np.maximum(at_low, at_high))


def readiness_score(desirabilities: ArrayLike, weights: ArrayLike) -> FloatArray:
    """Weighted geometric mean Π d^(w/Σw) along the last axis.

    Parameters
    ----------
    desirabilities : (..., K) array_like
        0..1.
    weights : (K,) or (..., K) array_like
        Not negative; only their ratios matter. A criterion of weight 0 takes no part, even when it is missing.

    Returns
    -------
    (...) ndarray of float
        0..1. Any 0 makes it 0. NaN where a criterion that has weight is missing, or none has weight: a missing value
        must not become 0.
    """
    d, w = np.broadcast_arrays(np.asarray(desirabilities, float), np.asarray(weights, float))
    total = w.sum(axis=-1)
    factors = factors_of(d, weights)
    return np.asarray(np.where(total > 0, np.prod(factors, axis=-1), np.nan))


def factors_of(desirabilities: ArrayLike, weights: ArrayLike) -> FloatArray:
    """(..., K) factors d^(w/Σw) whose product is the score; 1 where a criterion has no weight."""
    d, w = np.broadcast_arrays(np.asarray(desirabilities, float), np.asarray(weights, float))
    total = w.sum(axis=-1, keepdims=True)
    share = np.divide(w, total, out=np.zeros_like(w), where=total > 0)
    return np.asarray(np.where(share > 0, np.where(share > 0, d, 1.0) ** share, 1.0))


def readiness_sd(desirabilities: ArrayLike, sds: ArrayLike, weights: ArrayLike) -> FloatArray:
    """Standard uncertainty of the score to first order: D·√Σ(w·sd/d)², criteria taken as independent.

    From ln D = Σ w·ln d (delta method). It breaks down as a desirability nears 0, where it is given as NaN, and at
    the corners of a shape; the ranges of `canopy.readiness.decide` use the ends of intervals instead, which agrees
    with it for small uncertainties.
    """
    d, w = np.broadcast_arrays(np.asarray(desirabilities, float), np.asarray(weights, float))
    share = w / w.sum(axis=-1, keepdims=True)
    relative = np.divide(np.asarray(sds, float), d, out=np.full(d.shape, np.nan), where=d > 0)
    return np.asarray(readiness_score(d, w) * np.sqrt(((share * relative) ** 2).sum(axis=-1)))


def limiting_index(desirabilities: ArrayLike, weights: ArrayLike, names: list[str]) -> NDArray[np.intp]:
    """Which criterion, were it 1, would lift the score most (leave one out): the smallest factor d^(w/Σw).

    Ties go to the larger weight, then to the name earlier in the alphabet.

    Returns
    -------
    (...) ndarray of int
        Position along the last axis; −1 where every criterion is 1 or the score is missing.
    """
    d, w = np.broadcast_arrays(np.asarray(desirabilities, float), np.asarray(weights, float))
    # Twelve decimals: equal desirabilities of equal weight must tie in spite of float rounding.
    factors = np.round(factors_of(d, w), 12)
    rank = np.broadcast_to(np.argsort(np.argsort(np.asarray(names))), d.shape)
    order = np.lexsort((rank, -w, factors), axis=-1)
    first = order[..., 0]
    held = (np.take_along_axis(factors, order[..., :1], axis=-1)[..., 0] < 1.0) & ~np.isnan(readiness_score(d, w))
    return np.asarray(np.where(held, first, -1))


def _known(limit: float | None) -> float:
    """A limit that `Criterion` has checked to be there."""
    assert limit is not None
    return limit
