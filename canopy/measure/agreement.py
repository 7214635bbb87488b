"""How well two measurements of the same thing agree: masks by overlap, numbers by bias, limits and concordance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canopy.segment import opinion


@dataclass(frozen=True)
class LimitsOfAgreement:
    """Bland & Altman's summary of paired differences, in the unit of the data.

    Attributes
    ----------
    bias : float
        Mean of first − second.
    sd : float
        Standard deviation of the differences (divisor n − 1).
    low, high : float
        bias ∓ 1.96 sd.
    """

    bias: float
    sd: float
    low: float
    high: float


def dice(first: ArrayLike, second: ArrayLike) -> float:
    """Dice coefficient 2TP/(2TP + FP + FN) of two masks of one shape, 0..1; two empty masks agree fully: 1."""
    return opinion.dice(*_masks(first, second))


def iou(first: ArrayLike, second: ArrayLike) -> float:
    """Intersection over union TP/(TP + FP + FN) of two masks of one shape, 0..1; two empty masks: 1."""
    a, b = _masks(first, second)
    union = int(np.count_nonzero(a | b))
    return int(np.count_nonzero(a & b)) / union if union else 1.0


def bland_altman(first: ArrayLike, second: ArrayLike) -> LimitsOfAgreement:
    """Bias and 95 % limits of agreement of pairs (Bland & Altman 1986, Lancet i:307–310).

    Pairs with a missing value are left out; at least 2 must remain. Where the spread grows with size, pass logarithms.
    """
    x, y = _pairs(first, second)
    difference = x - y
    bias, sd = float(difference.mean()), float(difference.std(ddof=1))
    return LimitsOfAgreement(bias, sd, bias - 1.96 * sd, bias + 1.96 * sd)


def lin_concordance(first: ArrayLike, second: ArrayLike) -> float:
    """Concordance 2s_xy/(s_x² + s_y² + (x̄ − ȳ)²), −1..1, variances with 1/n (Lin 1989, Biometrics 45:255–268).

    Unlike correlation it falls with bias. Pairs with a missing value are left out; NaN if all values are one number.
    """
    x, y = _pairs(first, second)
    spread = x.var() + y.var() + (x.mean() - y.mean()) ** 2
    if spread == 0:
        return float("nan")
    return float(2 * ((x - x.mean()) * (y - y.mean())).mean() / spread)


def _masks(first: ArrayLike, second: ArrayLike) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    a, b = np.asarray(first, dtype=bool), np.asarray(second, dtype=bool)
    if a.shape != b.shape:
        raise ValueError(f"masks: shapes {a.shape} and {b.shape} differ; compare masks of one picture")
    return a, b


def _pairs(first: ArrayLike, second: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x, y = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if x.shape != y.shape or x.ndim != 1:
        raise ValueError(f"pairs: shapes {x.shape} and {y.shape}; two lists of one length are needed")
    both = ~(np.isnan(x) | np.isnan(y))
    if int(both.sum()) < 2:
        raise ValueError(f"pairs: {int(both.sum())} complete; at least 2 are needed")
    return x[both], y[both]
