"""Relative growth rate: the classical one between two harvests or photos, and the slope of ln area over many."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class Rate:
    """A relative growth rate.

    Attributes
    ----------
    per_day : float
        Mean d ln A/dt, per day; NaN when it cannot be told.
    se : float
        Its standard error; NaN where there are too few values for one.
    """

    per_day: float
    se: float

    @property
    def doubling_days(self) -> float:
        """Days to double, ln 2 over the rate; NaN where nothing grows."""
        return math.log(2.0) / self.per_day if self.per_day > 0 else math.nan


def classical_rate(first: ArrayLike, second: ArrayLike, *, days: float) -> Rate:
    """Mean of ln sizes later minus mean of ln sizes before, over the days between (unbiased form).

    The logarithm of the mean sizes would be biased as soon as the spread of ln sizes changes
    (Hoffmann & Poorter 2002, Ann. Bot. 90:37–42).

    Parameters
    ----------
    first, second : (n,), (m,) array-like of float
        Sizes on the two days, of different plants; missing (NaN) and sizes not above 0 are left out.
    days : float
        Days between, above 0.

    Returns
    -------
    Rate
        NaN when a day has no plant; standard error NaN when a day has fewer than two.
    """
    if not days > 0:
        raise ValueError(f"days between two readings must be above 0, got {days:g}; give the earlier one first")
    early, late = _logs(first), _logs(second)
    if not len(early) or not len(late):
        return Rate(math.nan, math.nan)
    per_day = float(late.mean() - early.mean()) / days
    if min(len(early), len(late)) < 2:
        return Rate(per_day, math.nan)
    variance = early.var(ddof=1) / len(early) + late.var(ddof=1) / len(late)
    return Rate(per_day, math.sqrt(variance) / days)


def fitted_rate(das: ArrayLike, size: ArrayLike) -> Rate:
    """Slope of the straight line through ln size by least squares (Hunt 1982, Plant Growth Curves).

    Parameters
    ----------
    das : (n,) array-like of float
        Days.
    size : (n,) array-like of float
        Sizes; missing and sizes not above 0 are left out.

    Returns
    -------
    Rate
        NaN below two different days; standard error NaN below three readings.
    """
    x, y = np.asarray(das, dtype=float), np.asarray(size, dtype=float)
    usable = np.isfinite(x) & np.isfinite(y) & (np.nan_to_num(y) > 0)
    x, y = x[usable], np.log(y[usable])
    spread = float(((x - x.mean()) ** 2).sum()) if len(x) else 0.0
    if spread <= 0:
        return Rate(math.nan, math.nan)
    slope = float(((x - x.mean()) * (y - y.mean())).sum()) / spread
    if len(x) < 3:
        return Rate(slope, math.nan)
    left = y - y.mean() - slope * (x - x.mean())
    return Rate(slope, math.sqrt(float((left**2).sum()) / (len(x) - 2) / spread))


def _logs(sizes: ArrayLike) -> NDArray[np.float64]:
    values = np.asarray(sizes, dtype=float).ravel()
    return np.asarray(np.log(values[np.isfinite(values) & (np.nan_to_num(values) > 0)]))
