"""How even the plants of a tray are: spread of one measurement, where in the tray it lies never matters here.

All functions take one value per cell and leave missing values (NaN) out. Empty cells are missing, not 0. A measure that
is not defined (no values, mean 0, one value where two are needed) is NaN.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# 1.4826 = 1/Φ⁻¹(3/4): makes the median absolute deviation of a normal distribution its standard deviation.
_MAD_TO_SD = 1.4826


def emergence(planted: int, cells: int) -> float:
    """Share of cells that bear a living plant, 0..1; NaN for no cells."""
    return planted / cells if cells else math.nan


def cv(values: ArrayLike) -> float:
    """Coefficient of variation s/x̄ as a fraction, divisor n − 1."""
    x = _present(values)
    return float(x.std(ddof=1) / x.mean()) if x.size > 1 and x.mean() else math.nan


def robust_cv(values: ArrayLike) -> float:
    """1.4826 · median absolute deviation / median, a fraction; ignores a few dead or giant plants."""
    x = _present(values)
    middle = float(np.median(x)) if x.size else 0.0
    return _MAD_TO_SD * float(np.median(np.abs(x - middle))) / middle if middle else math.nan


def robust_z(values: ArrayLike) -> FloatArray:
    """(x − median)/(1.4826 · MAD) of each value, NaN where missing and where more than half of the values are equal."""
    x = np.asarray(values, dtype=np.float64)
    present = _present(x)
    middle = float(np.median(present)) if present.size else math.nan
    spread = _MAD_TO_SD * float(np.median(np.abs(present - middle))) if present.size else 0.0
    return (x - middle) / spread if spread else np.full(x.shape, np.nan)


def christiansen_cu(values: ArrayLike) -> float:
    """Christiansen uniformity 100(1 − Σ|x − x̄|/(n·x̄)), percent, 100 = all equal; below 0 when very uneven (1942)."""
    x = _present(values)
    return float(100 * (1 - np.abs(x - x.mean()).mean() / x.mean())) if x.size and x.mean() else math.nan


def du_lq(values: ArrayLike, *, quarter: Literal["round", "floor"] = "round") -> float:
    """Low-quarter uniformity 100 · mean of the lowest quarter / mean, percent.

    Parameters
    ----------
    values : array of float
    quarter : {"round", "floor"}
        How n/4 becomes a number of values: rounded half up (published catch-can examples) or cut (other tables).
        At least one value counts as the lowest quarter.
    """
    x = np.sort(_present(values))
    if x.size == 0 or x.mean() == 0:
        return math.nan
    lowest = x.size // 4 if quarter == "floor" else math.floor(x.size / 4 + 0.5)
    return float(100 * x[: max(lowest, 1)].mean() / x.mean())


def gini(values: ArrayLike) -> float:
    """Gini coefficient 2Σi·x₍ᵢ₎/(nΣx) − (n + 1)/n, population form: 0 = all equal, (n − 1)/n = one has all."""
    x = np.sort(_present(values))
    total = float(x.sum())
    if x.size == 0 or total == 0:
        return math.nan
    rank = np.arange(1, x.size + 1)
    return float(2 * (rank * x).sum() / (x.size * total) - (x.size + 1) / x.size)


def evenness_score(values: ArrayLike, *, cells: int) -> float:
    """100 · emergence · (1 − Gini of the plants), 0..100: gaps and uneven size in one figure that anyone can recompute.

    It equals 100(1 − Gini) over all cells with gaps counted as 0. Our own proposal, no published scale. 0 when nothing
    grows; NaN for no cells.
    """
    x = _present(values)
    if cells and x.size == 0:
        return 0.0
    return 100 * emergence(x.size, cells) * (1 - gini(x))


def two_sizes(values: ArrayLike) -> tuple[float, float]:
    """Best split of the values in two groups by size: what it explains, and how large the smaller-valued group is.

    Parameters
    ----------
    values : array of float
        Pass ln(area) for plants: growth from two germination dates differs by a factor.

    Returns
    -------
    share : float
        Part of the variance that lies between the groups, 0..1. A normal distribution gives 2/π = 0.64, an even spread
        0.75; two sharp groups near 1. NaN for fewer than 4 values or no variance.
    small : float
        Share of values in the smaller-valued group.
    """
    x = np.sort(_present(values))
    n = x.size
    if n < 4 or x[0] == x[-1]:
        return math.nan, math.nan
    left = np.arange(1, n)
    # Between-group sum of squares of every split at once: S_left²·n/(n_left·n_right) for centred x.
    head = np.cumsum(x - x.mean())[:-1]
    between = head**2 * n / (left * (n - left))
    best = int(np.argmax(between))
    return float(between[best] / ((x - x.mean()) ** 2).sum()), float((best + 1) / n)


def _present(values: ArrayLike) -> FloatArray:
    x = np.asarray(values, dtype=np.float64).ravel()
    return x[~np.isnan(x)]
