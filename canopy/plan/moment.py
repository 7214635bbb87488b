"""The best moment of each plant: the day on which it is expected to be worth most by its recipe."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopy.growth import Course
from canopy.readiness.desirability import desirability, readiness_score
from canopy.records import CropRecipe

FloatArray = NDArray[np.float64]


def expected_worth(
    course: Course, *, recipe: CropRecipe, das: FloatArray, cell_area_mm2: float | None = None
) -> FloatArray:
    """Expected worth of each plant on days to come, by the size and age that its recipe wants.

    Colour and damage are not forecast; they are taken to stay as they are.

    Parameters
    ----------
    course : Course
        Of `forecast_tray`.
    recipe : CropRecipe
    das : (n,) float array
        Days after sowing.
    cell_area_mm2 : float, optional
        Needed when the recipe judges cover.

    Returns
    -------
    (p, n) float array
        0..1: mean over the futures of the weighted geometric mean of the desirabilities; 0 before the gates open.
    """
    area = np.exp(course.futures.ln_area(das))
    parts, weights = [], []
    if recipe.size is not None:
        parts.append(desirability(area, recipe.size))
        weights.append(recipe.size.weight)
    if recipe.cover is not None and cell_area_mm2 is not None:
        parts.append(desirability(area / cell_area_mm2, recipe.cover))
        weights.append(recipe.cover.weight)
    if recipe.age is not None:
        parts.append(np.broadcast_to(desirability(das, recipe.age), area.shape))
        weights.append(recipe.age.weight)
    worth = readiness_score(np.stack(parts, axis=-1), weights)
    open_ = (das >= recipe.gates.minimum_das) & (area >= (recipe.gates.minimum_area_mm2 or 0.0))
    return np.asarray(np.where(open_, worth, 0.0).mean(axis=0))


def best_days(worth: FloatArray, *, day_cost: float) -> NDArray[np.int64]:
    """Which of the days is best for each plant, a day in the tray costing its share.

    Parameters
    ----------
    worth : (p, n) float array
        On days that follow one another.
    day_cost : float
        Worth that a day more costs.

    Returns
    -------
    (p,) int array
        Number of the day, from 0; the first of equal ones.
    """
    return np.asarray(np.argmax(worth - day_cost * np.arange(worth.shape[1]), axis=1), dtype=np.int64)
