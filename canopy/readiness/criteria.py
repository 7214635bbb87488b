"""From measurements to desirabilities and a score with its range, for all cells at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.readiness.desirability import desirability, desirability_range, limiting_index, readiness_score
from canopy.records.recipe import CropRecipe, NamedCriterion
from canopy.records.text import TEXT_TYPE
from canopy.settings.readiness import ReadinessSettings

BoolArray = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

CRITERIA_COLUMNS: tuple[str, ...] = (
    "cell",
    "criterion",
    "value",
    "unit",
    "desirability",
    "weight",
    "value_low",
    "value_high",
    "desirability_low",
    "desirability_high",
    "withheld",
)
"""Columns of the criteria table, in order. `weight` is the share of the score that the criterion had in this cell (the
shares of a cell sum to 1; 0 where it was withheld); `desirability` is missing where the value is."""

_TYPES = dict.fromkeys(CRITERIA_COLUMNS, "float64") | dict.fromkeys(("cell", "criterion", "unit"), TEXT_TYPE)
_TYPES |= {"withheld": "bool"}
_JUDGED_BY_COLOUR = ("colour", "health")


@dataclass(frozen=True)
class Scored:
    """Criteria and score of N cells under K criteria.

    Attributes
    ----------
    criteria : tuple of NamedCriterion
        The K criteria.
    value, value_low, value_high : (N, K) float ndarray
        Measurement and its range, in the criterion's unit; NaN where missing or not judged.
    d, d_low, d_high : (N, K) float ndarray
        Desirability 0..1 and its range.
    weight : (N, K) float ndarray
        Share of the score, rows sum to 1; 0 where withheld.
    withheld : (N, K) bool ndarray
        True where a missing criterion's weight was shared out among the others.
    score, score_low, score_high : (N,) float ndarray
        Readiness 0..100; NaN where a criterion is missing that may not be withheld.
    """

    criteria: tuple[NamedCriterion, ...]
    value: FloatArray
    value_low: FloatArray
    value_high: FloatArray
    d: FloatArray
    d_low: FloatArray
    d_high: FloatArray
    weight: FloatArray
    withheld: BoolArray
    score: FloatArray
    score_low: FloatArray
    score_high: FloatArray

    @property
    def names(self) -> list[str]:
        """Names of the criteria, in the order of the columns."""
        return [named.name for named in self.criteria]

    def limiting(self) -> NDArray[np.intp]:
        """(N,) position of the criterion that holds the cell back most, −1 for none (see `limiting_index`)."""
        return limiting_index(self.d, self.weight, self.names)

    def score_if_one(self, column: NDArray[np.intp]) -> FloatArray:
        """(N,) readiness 0..100 if the criterion at that position were 1."""
        d = self.d.copy()
        rows = np.flatnonzero(column >= 0)
        d[rows, column[rows]] = 1.0
        return 100.0 * readiness_score(d, self.weight)


def score_criteria(
    cells: pd.DataFrame, recipe: CropRecipe, *, das: int | None, colour_withheld: bool, settings: ReadinessSettings
) -> Scored:
    """Judge every cell by every criterion of the recipe.

    Parameters
    ----------
    cells : pandas.DataFrame
        Columns `area_mm2, area_low_mm2, area_high_mm2, yellow_fraction, brown_fraction`, and `cover` or the colour
        index where the recipe uses them.
    das : int or None
        Days after sowing.
    colour_withheld : bool
        True: the light allows no judgement of colour, hence none of damage.

    Notes
    -----
    Ranges are closed form. A value's range is taken to the ends of its desirability (area: the measured range; colour
    and damage: `range_factor` standard uncertainties). The score's range adds in squares what each criterion alone
    does to the score, because they err independently: for small uncertainties this is the delta method
    (`desirability.readiness_sd`), and with one doubtful criterion it is its exact interval.
    """
    value, low, high = _values(cells, recipe, das=das, colour_withheld=colour_withheld, settings=settings)
    d, d_low, d_high = np.empty_like(value), np.empty_like(value), np.empty_like(value)
    for k, named in enumerate(recipe.criteria):
        d[:, k] = desirability(value[:, k], named.criterion)
        d_low[:, k], d_high[:, k] = desirability_range(low[:, k], high[:, k], named.criterion)
    may_be_withheld = np.array([named.criterion.may_be_withheld for named in recipe.criteria])
    withheld = np.isnan(value) & may_be_withheld
    weight = np.where(withheld, 0.0, [named.criterion.weight for named in recipe.criteria])
    total = weight.sum(axis=1, keepdims=True)
    weight = np.divide(weight, total, out=np.zeros_like(weight), where=total > 0)
    score = readiness_score(d, weight)
    return Scored(
        criteria=recipe.criteria,
        value=value,
        value_low=low,
        value_high=high,
        d=d,
        d_low=d_low,
        d_high=d_high,
        weight=weight,
        withheld=withheld,
        score=100.0 * score,
        score_low=100.0 * np.clip(score - _reach(d, d_low, weight), 0.0, 1.0),
        score_high=100.0 * np.clip(score + _reach(d, d_high, weight), 0.0, 1.0),
    )


def criteria_table(cells: pd.DataFrame, scored: Scored, *, planted: BoolArray) -> pd.DataFrame:
    """One row per planted cell and criterion, columns `CRITERIA_COLUMNS`."""
    rows, k = int(planted.sum()), len(scored.criteria)
    table = {
        "cell": np.repeat(cells["cell"].to_numpy()[planted], k),
        "criterion": np.tile(np.array(scored.names, dtype=object), rows),
        "value": scored.value[planted].ravel(),
        "unit": np.tile(np.array([named.unit for named in scored.criteria], dtype=object), rows),
        "desirability": scored.d[planted].ravel(),
        "weight": scored.weight[planted].ravel(),
        "value_low": scored.value_low[planted].ravel(),
        "value_high": scored.value_high[planted].ravel(),
        "desirability_low": scored.d_low[planted].ravel(),
        "desirability_high": scored.d_high[planted].ravel(),
        "withheld": scored.withheld[planted].ravel(),
    }
    return pd.DataFrame(table).astype(_TYPES)


def no_criteria() -> pd.DataFrame:
    """The criteria table of a tray scored on nothing: the same columns and types, no rows."""
    return pd.DataFrame({name: pd.Series([], dtype=dtype).array for name, dtype in _TYPES.items()})


def damage_fraction(cells: pd.DataFrame, *, colour_withheld: bool) -> FloatArray:
    """(N,) yellow plus brown share of each plant, 0..1; NaN where colour could not be judged."""
    if colour_withheld:
        return np.full(len(cells), np.nan)
    total = cells["yellow_fraction"].to_numpy(dtype=float) + cells["brown_fraction"].to_numpy(dtype=float)
    return np.asarray(np.minimum(total, 1.0), dtype=float)


def _values(
    cells: pd.DataFrame, recipe: CropRecipe, *, das: int | None, colour_withheld: bool, settings: ReadinessSettings
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(N, K) measurement of each criterion, with its lower and upper end."""
    shape = (len(cells), len(recipe.criteria))
    value, low, high = np.full(shape, np.nan), np.full(shape, np.nan), np.full(shape, np.nan)
    for k, named in enumerate(recipe.criteria):
        if named.name in _JUDGED_BY_COLOUR and colour_withheld:
            continue
        value[:, k] = _measure(cells, named.measure, das=das)
        if named.name in ("size", "cover"):
            low[:, k], high[:, k] = _area_range(cells, named.measure, value[:, k])
            continue
        spread = settings.range_factor * _sd(named.measure, settings)
        low[:, k], high[:, k] = value[:, k] - spread, value[:, k] + spread
        if named.name == "health":
            low[:, k], high[:, k] = np.maximum(low[:, k], 0.0), np.minimum(high[:, k], 1.0)
    return value, low, high


def _measure(cells: pd.DataFrame, measure: str, *, das: int | None) -> FloatArray:
    if measure == "das":
        return np.full(len(cells), np.nan if das is None else float(das))
    if measure == "damage_fraction":
        return damage_fraction(cells, colour_withheld=False)
    return np.asarray(cells[measure].to_numpy(dtype=float))


def _area_range(cells: pd.DataFrame, measure: str, value: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Measured range of area; cover has the relative range of the area that it is a share of."""
    low, high = (cells[name].to_numpy(dtype=float) for name in ("area_low_mm2", "area_high_mm2"))
    if measure == "area_mm2":
        return low, high
    area = cells["area_mm2"].to_numpy(dtype=float)
    ratio = np.divide(value, area, out=np.full(len(value), np.nan), where=area > 0)
    return ratio * low, ratio * high


def _sd(measure: str, settings: ReadinessSettings) -> float:
    """Standard uncertainty of a measurement that is not an area; a date has none."""
    if measure == "das":
        return 0.0
    if measure == "damage_fraction":
        return settings.damage_sd
    return settings.hue_sd_deg if measure == "hue_deg" else settings.index_sd


def _reach(d: FloatArray, d_end: FloatArray, weight: FloatArray) -> FloatArray:
    """(N,) how far the score moves when each criterion goes to its end, added in squares."""
    score = readiness_score(d, weight)
    squares = np.zeros(len(d))
    for k in range(d.shape[1]):
        moved = d.copy()
        moved[:, k] = d_end[:, k]
        squares += (readiness_score(moved, weight) - score) ** 2
    return np.sqrt(squares)
