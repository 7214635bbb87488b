"""The days to come of one tray: how many plants are ready, how heavy together, how many are past their bound."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

from canopy.growth.draws import Futures
from canopy.growth.weight import WeightModel, expected_grams
from canopy.records.text import TEXT_TYPE, Dtypes
from canopy.settings.growth import ForecastSettings

FloatArray = NDArray[np.float64]

DAILY_DTYPES: Dtypes = {
    "date": "datetime64[s]", "das": "int64", "ready": "float64", "ready_low": "float64", "ready_high": "float64",
    "grams": "float64", "grams_low": "float64", "grams_high": "float64", "late": "float64", "note": TEXT_TYPE,
}  # fmt: skip
NOON = 0.5
"""A day's numbers are those of its noon."""


@dataclass(frozen=True)
class Course:
    """When the plants of each drawn future are good to cut.

    Attributes
    ----------
    futures : Futures
    ready : (d, p) float array
        Day after sowing from which each plant is ready; infinite where never.
    late : (d, p) float array
        Day from which it is too late: too old or too large by its recipe; infinite where never.
    """

    futures: Futures
    ready: FloatArray
    late: FloatArray

    def good(self, das: FloatArray) -> NDArray[np.bool_]:
        """(d, p, n) True where a plant is ready and not yet too late."""
        return np.asarray((self.ready[:, :, None] <= das) & (self.late[:, :, None] > das))


def daily_table(
    course: Course, *, today: date, das: int, weight: WeightModel | None, settings: ForecastSettings
) -> pd.DataFrame:
    """Numbers, grams and plants past their bound on each day to come.

    Parameters
    ----------
    course : Course
    today : date
        Day of asking.
    das : int
        Its day after sowing.
    weight : WeightModel or None
        None: grams are missing.
    settings : ForecastSettings

    Returns
    -------
    pandas.DataFrame
        `DAILY_DTYPES`: `ready` is the expected number of plants that are ready and not yet too late, `late` of those
        past their bound; ranges hold the stated share of truths. `grams` is missing where too many plants lie outside
        the weighed areas, its range where no whole trays were weighed; `note` says which.
    """
    ahead = np.arange(1, settings.days + 1)
    at = np.asarray(das + ahead + NOON, dtype=np.float64)
    good = course.good(at)
    counts = good.sum(axis=1)
    low, _, high = quantiles(counts, settings=settings)
    columns = {
        "date": pd.Timestamp(today) + pd.to_timedelta(ahead, unit="D"),
        "das": das + ahead,
        "ready": counts.mean(axis=0),
        "ready_low": low,
        "ready_high": high,
        **_grams(course, good, at, weight, settings=settings),
        "late": (course.late[:, :, None] <= at).sum(axis=1).mean(axis=0),
    }
    return pd.DataFrame(columns, columns=list(DAILY_DTYPES)).astype(DAILY_DTYPES)


def quantiles(values: FloatArray, *, settings: ForecastSettings) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Low end, middle and high end along the first axis; drawn values are taken as they are, for some are infinite."""
    tail = (1 - settings.level) / 2
    low, middle, high = np.quantile(values, [tail, 0.5, 1 - tail], axis=0, method="inverted_cdf")
    return low, middle, high


def _grams(
    course: Course, good: NDArray[np.bool_], at: FloatArray, weight: WeightModel | None, *, settings: ForecastSettings
) -> dict[str, object]:
    if weight is None:
        none = np.full(len(at), np.nan)
        note = "no grams: nothing was weighed and the recipe has no curve"
        return {"grams": none, "grams_low": none, "grams_high": none, "note": note}
    each, inside = expected_grams(weight, np.exp(course.futures.ln_area(at)), at)
    total = np.where(good, each, 0.0).sum(axis=1)
    outside = (good & ~inside).sum(axis=(0, 1)) / np.maximum(good.sum(axis=(0, 1)), 1)
    known = outside <= settings.grams_outside_share
    mean, low, high = total.mean(axis=0), *_weight_range(total, weight, settings=settings)
    marks = [text for text, holds in (("uncalibrated", not weight.calibrated),
                                      ("no range: too few whole trays were weighed", np.isnan(weight.tray_off)))
             if holds]  # fmt: skip
    lost = [
        f"no grams: {100 * share:.0f} % of the plants lie outside the areas that weights are known for"
        for share in outside
    ]
    return {
        "grams": np.where(known, mean, np.nan),
        "grams_low": np.where(known, low, np.nan),
        "grams_high": np.where(known, high, np.nan),
        "note": ["; ".join(marks) if fine else text for fine, text in zip(known, lost, strict=True)],
    }


def _weight_range(
    total: FloatArray, weight: WeightModel, *, settings: ForecastSettings
) -> tuple[FloatArray, FloatArray]:
    """Range of a day's grams: that of the areas to come, and the curve's own error for whole trays besides."""
    if np.isnan(weight.tray_off):
        return np.full(total.shape[1], np.nan), np.full(total.shape[1], np.nan)
    rng = np.random.default_rng(settings.seed + 1)
    sd = weight.tray_off / float(ndtri((1 + settings.level) / 2))
    low, _, high = quantiles(total * np.exp(sd * rng.standard_normal((len(total), 1))), settings=settings)
    return low, high
