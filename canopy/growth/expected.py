"""What is expected of a crop's growth before any photo: a curve through the recipe's size and age, and its spread."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from canopy.errors import UsageError
from canopy.growth.shapes import Shape, reached_at
from canopy.records import CropRecipe
from canopy.settings.growth import CurveSettings

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Expected:
    """Expectation of a curve's numbers (see `canopy.growth.shapes`).

    Attributes
    ----------
    mean : (3,) float array
        Of an average tray.
    trays : (3, 3) float array
        Covariance of trays' means round it.
    plants : (3, 3) float array
        Covariance of plants round their tray's mean, where learning starts.
    """

    mean: FloatArray
    trays: FloatArray
    plants: FloatArray


def expected_growth(
    recipe: CropRecipe, shape: Shape, *, settings: CurveSettings, cell_area_mm2: float | None = None
) -> Expected:
    """Expectation of one shape from a recipe.

    The curve passes the recipe's target size at its target age, growing there as fast as a logistic curve of the
    settings' young rate and final size does, and at about the young rate before; so all three shapes start from one
    picture of the crop.

    Parameters
    ----------
    recipe : CropRecipe
    shape : `logistic`, `gompertz` or `expolinear`
    settings : CurveSettings
    cell_area_mm2 : float, optional
        Needed when the recipe judges cover and not area.

    Returns
    -------
    Expected
        For areas in mm² on a clock in days.

    Raises
    ------
    UsageError
        When the recipe names neither a size nor a cover (with `cell_area_mm2`).
    """
    das, area = target_of(recipe, cell_area_mm2=cell_area_mm2)
    final = getattr(settings, f"final_over_target_{recipe.stage}")
    young = settings.young_rate
    mean = np.array(_through(shape, das, area, final=final, young=young, share=settings.young_share))
    trays = _ready_day_apart(shape, mean, area, settings=settings)
    plants = np.diag(np.square([settings.plant_final_sd, settings.plant_rate_sd, settings.plant_shift_sd]))
    return Expected(mean, trays, plants)


def _ready_day_apart(shape: Shape, mean: FloatArray, area: float, *, settings: CurveSettings) -> FloatArray:
    """Covariance of trays' numbers in which the day of the target area is independent of final area and rate.

    That day is what growers know of a crop; timing alone would have to stray further whenever the final area does.
    """
    step = 1e-4
    final, rate = (
        (reached_at(shape, mean + e, area) - reached_at(shape, mean - e, area)) / (2 * step)
        for e in step * np.eye(3)[:2]
    )
    mix = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [-float(final), -float(rate), 1.0]])
    return np.asarray(
        mix @ np.diag(np.square([settings.tray_final_sd, settings.tray_rate_sd, settings.tray_ready_sd])) @ mix.T
    )


def target_of(recipe: CropRecipe, *, cell_area_mm2: float | None = None) -> tuple[float, float]:
    """Age in days after sowing and area in mm² at which a plant is ready by the recipe.

    The area is the target of `size`, or of `cover` times the cell's area, and never below the gate's least area; the
    age is the target of `age`, else the gate's least age.

    Raises
    ------
    UsageError
        When the recipe judges neither, or cover without `cell_area_mm2`.
    """
    if recipe.size is not None:
        area = recipe.size.target
    elif recipe.cover is not None and cell_area_mm2 is not None:
        area = recipe.cover.target * cell_area_mm2
    else:
        raise UsageError(
            f"recipe {recipe.crop} {recipe.stage}: growth needs a target area; give it a `size`, or a `cover` and the "
            "tray's layout"
        )
    das = recipe.age.target if recipe.age is not None else float(recipe.gates.minimum_das)
    return max(das, 1.0), max(area, recipe.gates.minimum_area_mm2 or 0.0)


def bounds_of(recipe: CropRecipe, *, cell_area_mm2: float | None = None) -> tuple[float, float]:
    """Day after sowing and area in mm² from which a plant is too late by the recipe: too old, too large.

    The day is the end of `age`, the area the end of `size` (or of `cover` times the cell's area); infinite where the
    recipe has none.
    """
    last_das = recipe.age.high if recipe.age is not None and recipe.age.high is not None else math.inf
    if recipe.size is not None:
        return last_das, recipe.size.high if recipe.size.high is not None else math.inf
    if recipe.cover is not None and recipe.cover.high is not None and cell_area_mm2 is not None:
        return last_das, recipe.cover.high * cell_area_mm2
    return last_das, math.inf


def _through(
    shape: Shape, das: float, area: float, *, final: float, young: float, share: float
) -> tuple[float, float, float]:
    """Curve through (das, area) of relative rate young·(1 − 1/final) there; `final` is final area over area."""
    if shape == "logistic":
        return math.log(final * area), math.log(young), das + math.log(final - 1.0) / young
    rate = young * (1.0 - 1.0 / final)
    if shape == "gompertz":
        # Its relative rate is fall·ln(K/A), which rises without end in smaller plants: held at the young rate where a
        # plant has `share` of the area.
        fall = (young - rate) / math.log(1.0 / share)
        return math.log(area) + rate / fall, math.log(fall), das + math.log(rate / fall) / fall

    # Expolinear: its relative rate is young · sigmoid(u)/softplus(u), which falls in u from 1 to 0.
    def excess(u: float) -> float:
        return 1.0 / (1.0 + math.exp(-u)) / float(np.logaddexp(0.0, u)) - (1.0 - 1.0 / final)

    u = float(brentq(excess, -60.0, 60.0))
    slope = area * young / float(np.logaddexp(0.0, u))
    return math.log(slope), math.log(young), das - u / young
