"""Equal cells put together, so that a farm's plan stays small: a few groups a tray instead of all its cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.plan.supply import Supply
from canopy.settings.plan import PlanSettings

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Groups:
    """Groups (g) of cells of one tray that may be cut for the same orders on the same days.

    Attributes
    ----------
    of : (c,) int array
        Group of each cell.
    size : (g,) int array
    tray : (g,) int array
        Number of the tray.
    may : (g, n, o) bool array
        Whether a cell of the group may be cut on a day for an order.
    grams : (g, n) float array
        Mean expected grams; NaN where not known.
    later : (g,) float array
        Mean worth of a plant left alone, in values of a plant.
    """

    of: NDArray[np.int64]
    size: NDArray[np.int64]
    tray: NDArray[np.int64]
    may: BoolArray
    grams: FloatArray
    later: FloatArray


def group_cells(
    supply: Supply, tray: NDArray[np.int64], may: BoolArray, later: FloatArray, *, settings: PlanSettings | None
) -> Groups:
    """Put equal cells of a tray together.

    Parameters
    ----------
    supply : Supply
    tray : (c,) int array
        Number of each cell's tray.
    may : (c, n, o) bool array
        Whether the cell may be cut on a day for an order.
    later : (c,) float array
        Worth left alone.
    settings : PlanSettings or None
        None: every cell its own group, for comparison.

    Returns
    -------
    Groups
    """
    cells = len(supply)
    if settings is None:
        of = np.arange(cells)
    else:
        step = settings.grams_step
        grams = np.where(np.isfinite(supply.grams) & (supply.grams > 0), supply.grams, 1.0)
        # Grams of the middle day stand for all: plants of a tray grow alike over a few days.
        bins = np.floor(np.log(grams[:, grams.shape[1] // 2]) / step)
        worth = np.floor(later / step)
        bits = np.packbits(may.reshape(cells, -1), axis=1).astype(np.float64)
        key = np.column_stack([tray.astype(float), bins, worth, bits])
        _, of = np.unique(key, axis=0, return_inverse=True)
        of = of.reshape(-1)
    count = int(of.max()) + 1 if cells else 0
    first = np.zeros(count, dtype=np.int64)
    first[of[::-1]] = np.arange(cells)[::-1]
    size = np.bincount(of, minlength=count)

    def mean(values: FloatArray) -> FloatArray:
        total = np.zeros((count, *values.shape[1:]))
        np.add.at(total, of, values)
        return total / np.maximum(size, 1).reshape(-1, *(1,) * (values.ndim - 1))

    return Groups(of.astype(np.int64), size, tray[first], may[first], mean(supply.grams), mean(later))
