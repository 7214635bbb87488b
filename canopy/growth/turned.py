"""Whether a tray was put back turned by 180°: told from the pattern of its plants, with how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit, ndtri
from scipy.stats import rankdata

from canopy.settings.growth import HistorySettings

FloatArray = NDArray[np.float64]

_STRONGEST = 0.98
"""Correlation is taken to be this at most: a greater one would make a few cells prove anything."""


@dataclass(frozen=True)
class Turn:
    """What the patterns of two photos say.

    Attributes
    ----------
    turned : bool or None
        None where it cannot be told.
    probability : float
        That the tray was turned, 0..1; NaN with too few plants.
    same, opposite : float
        Correlation of the patterns as they are and with the later one turned back; NaN with too few plants.
    """

    turned: bool | None
    probability: float
    same: float
    opposite: float


def compare(before: FloatArray, after: FloatArray, *, settings: HistorySettings) -> Turn:
    """Compare two photos of one tray.

    Sizes are compared by rank, empty cells as the smallest; turned or not is weighed by the likelihood of two normal
    patterns of the better of the two correlations.

    Parameters
    ----------
    before, after : (rows, columns) float array
        Area of the plant in each cell, mm²; 0 where the cell is empty; NaN where it was not seen or holds another plant
        by now.
    settings : HistorySettings

    Returns
    -------
    Turn
    """
    same, n = _correlation(before, after)
    opposite, turned_n = _correlation(before, after[::-1, ::-1])
    if min(n, turned_n) < settings.min_cells or math.isnan(same) or math.isnan(opposite):
        return Turn(None, math.nan, math.nan, math.nan)
    strength = min(max(same, opposite, 0.0), _STRONGEST)
    # ln of the ratio of two bivariate normal densities that differ only in which cells are paired.
    evidence = strength / (1 - strength**2) * settings.independent_share * min(n, turned_n) * (opposite - same)
    probability = float(expit(logit(settings.turned_before) + evidence))
    if probability >= settings.turned_sure:
        return Turn(True, probability, same, opposite)
    return Turn(False if probability <= 1 - settings.turned_sure else None, probability, same, opposite)


def _correlation(a: FloatArray, b: FloatArray) -> tuple[float, int]:
    """Correlation of normal scores over cells seen in both, and the number of those with a plant in either."""
    both = np.isfinite(a) & np.isfinite(b)
    plants = int((both & ((np.nan_to_num(a) > 0) | (np.nan_to_num(b) > 0))).sum())
    if both.sum() < 3:
        return math.nan, plants
    x, y = (ndtri((rankdata(v[both]) - 0.5) / both.sum()) for v in (a, b))
    x, y = x - x.mean(), y - y.mean()
    size = math.sqrt(float((x**2).sum() * (y**2).sum()))
    return (float((x * y).sum()) / size if size > 0 else math.nan), plants
