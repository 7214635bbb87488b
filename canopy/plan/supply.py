"""What each cell can give on each day: how sure it is ready, how heavy, how large, and what it is worth left alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.growth import Course, WeightModel
from canopy.growth.weight import expected_grams

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
TextArray = NDArray[np.str_]

_NOON = 0.5


@dataclass(frozen=True)
class Supply:
    """Cells (c) by days (n).

    Attributes
    ----------
    tray, cell, crop : (c,) str array
    days : pandas.DatetimeIndex
        The n days.
    sure : (c, n) float array
        Probability that the plant is ready and not too late at noon, 0..1.
    grams : (c, n) float array
        Expected fresh weight; NaN where weights are not known.
    area_mm2 : (c, n) float array
        Expected area.
    later : (c,) float array
        Probability that the plant is not too late after the last day.
    open : (c, n) bool array
        False where a gate forbids the cut: damage, doubt, a waiting time.
    """

    tray: TextArray
    cell: TextArray
    crop: TextArray
    days: pd.DatetimeIndex
    sure: FloatArray
    grams: FloatArray
    area_mm2: FloatArray
    later: FloatArray
    open: BoolArray

    def __len__(self) -> int:
        """Number of cells."""
        return len(self.cell)


def supply_of(
    course: Course,
    *,
    tray: str,
    crop: str,
    cells: Sequence[str],
    first_das: int,
    days: pd.DatetimeIndex,
    weight: WeightModel | None,
    open_cells: BoolArray,
) -> Supply:
    """What one tray can give.

    Parameters
    ----------
    course : Course
        Of `forecast_tray`.
    tray, crop : str
    cells : sequence of str
        The plants' cells, in the order of the course.
    first_das : int
        Day after sowing of the first of the days.
    days : pandas.DatetimeIndex
    weight : WeightModel or None
    open_cells : (p, n) bool array
        See `Supply.open`.

    Returns
    -------
    Supply
    """
    das = first_das + np.arange(len(days), dtype=np.float64) + _NOON
    good = course.good(das)
    area = np.exp(course.futures.ln_area(das))
    if weight is None:
        grams = np.full(area.shape[1:], np.nan)
    else:
        each, inside = expected_grams(weight, area, das)
        # A plant whose area was never weighed in most of its futures has no weight to promise.
        grams = np.where(inside.mean(axis=0) >= _MOSTLY, each.mean(axis=0), np.nan)
    later = (course.late > das[-1] + 1).mean(axis=0)
    names = np.array(cells, dtype=str)
    each_tray, each_crop = np.full(len(cells), tray), np.full(len(cells), crop)
    return Supply(each_tray, names, each_crop, days, good.mean(axis=0), grams, area.mean(axis=0), later, open_cells)


_MOSTLY = 0.5


def joined(parts: Sequence[Supply], *, days: pd.DatetimeIndex) -> Supply:
    """Several trays together."""
    none = np.zeros((0, len(days)))

    def text(name: str) -> TextArray:
        return np.concatenate([np.array([], dtype=str), *(getattr(part, name) for part in parts)])

    def number(name: str) -> FloatArray:
        return np.concatenate([none, *(getattr(part, name) for part in parts)])

    return Supply(
        text("tray"),
        text("cell"),
        text("crop"),
        days,
        number("sure"),
        number("grams"),
        number("area_mm2"),
        np.concatenate([np.zeros(0), *(part.later for part in parts)]),
        np.concatenate([none.astype(bool), *(part.open for part in parts)]),
    )
