"""When plants and tray will be ready, and how many on each day to come, each with a range."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.errors import UsageError
from canopy.growth.curves import TrayCurves
from canopy.growth.daily import NOON, Course, daily_table, quantiles
from canopy.growth.draws import Futures, draw_futures
from canopy.growth.expected import bounds_of, target_of
from canopy.growth.weight import WeightModel
from canopy.records import CropRecipe, TrayRecord
from canopy.records.text import TEXT_TYPE, Dtypes
from canopy.settings.growth import ForecastSettings

FloatArray = NDArray[np.float64]

READY_DTYPES: Dtypes = {
    "plant": TEXT_TYPE, "ready_das": "float64", "ready_low_das": "float64", "ready_high_das": "float64",
    "ready_now": "float64", "late_das": "float64", "late_risk": "float64", "note": TEXT_TYPE,
}  # fmt: skip


@dataclass(frozen=True)
class Forecast:
    """What is to come of one tray.

    Attributes
    ----------
    area_mm2 : float
        Area at which a plant is ready by the recipe.
    plants : pandas.DataFrame
        `READY_DTYPES`: middle and range of the day after sowing on which each plant is ready; infinite where the curve
        may never get there; `ready_now` is the probability that it is ready on the day of asking; `late_das` the middle
        of the day from which it is too late (too old or too large by the recipe; infinite where there is no such
        bound), `late_risk` the probability of that within the days to come.
    tray : pandas.DataFrame
        One row of the same columns, for the day on which the stated share of plants is ready; it is late with the
        first of its plants that are.
    daily : pandas.DataFrame
        The days to come, see `daily_table`.
    course : Course
        The drawn futures behind it.
    said : tuple of str
        Sentences for people.
    """

    area_mm2: float
    plants: pd.DataFrame
    tray: pd.DataFrame
    daily: pd.DataFrame
    course: Course
    said: tuple[str, ...]


def forecast_tray(
    curves: TrayCurves,
    *,
    recipe: CropRecipe,
    tray: TrayRecord,
    today: date,
    settings: ForecastSettings,
    weight: WeightModel | None = None,
) -> Forecast:
    """Forecast a tray from its plants' curves.

    A plant is ready when it has the recipe's target area (see `target_of`) and the gate's least age. Other criteria
    (colour, damage) are not forecast.

    Parameters
    ----------
    curves : TrayCurves
        Of the curves that still grow; leave out plants that were harvested.
    recipe : CropRecipe
    tray : TrayRecord
        With its day of sowing.
    today : date
        Day of asking.
    settings : ForecastSettings
    weight : WeightModel, optional
        For grams.

    Returns
    -------
    Forecast

    Raises
    ------
    UsageError
        When the tray has no day of sowing.
    """
    if tray.sown_on is None:
        raise UsageError(f"tray {tray.tray}: a forecast needs `sown_on`; add it to the tray list")
    _, area = target_of(recipe, cell_area_mm2=tray.layout.cell_area_mm2)
    futures = draw_futures(curves, settings=settings)
    last_das, last_area = bounds_of(recipe, cell_area_mm2=tray.layout.cell_area_mm2)
    days = np.maximum(futures.reached_das(area), float(recipe.gates.minimum_das))
    late = np.full(days.shape, last_das)
    if np.isfinite(last_area):
        late = np.minimum(late, futures.reached_das(last_area))
    course = Course(futures, days, late)
    das = (today - tray.sown_on).days
    plants = _ready_table(list(curves.plants), days, late, das + NOON, settings=settings)
    first = late.min(axis=1, initial=np.inf)[:, None]
    row = _ready_table([tray.tray], _tray_days(days, settings=settings), first, das + NOON, settings=settings)
    daily = daily_table(course, today=today, das=das, weight=weight, settings=settings)
    return Forecast(area, plants, row, daily, course, _say(row, curves, futures, tray.sown_on, settings=settings))


def _ready_table(
    names: list[str], days: FloatArray, late: FloatArray, now: float, *, settings: ForecastSettings
) -> pd.DataFrame:
    low, middle, high = quantiles(days, settings=settings)
    never = np.isinf(days).mean(axis=0)
    notes = ["" if n == 0 else f"may never reach the area ({100 * n:.0f} % of futures)" for n in never]
    columns = {
        "plant": names,
        "ready_das": middle,
        "ready_low_das": low,
        "ready_high_das": high,
        "ready_now": (days <= now).mean(axis=0),
        "late_das": quantiles(late, settings=settings)[1],
        "late_risk": (late <= now + settings.days).mean(axis=0),
        "note": notes,
    }
    return pd.DataFrame(columns, columns=list(READY_DTYPES)).astype(READY_DTYPES)


def _tray_days(days: FloatArray, *, settings: ForecastSettings) -> FloatArray:
    """(d, 1) day of each future on which the stated share of plants is ready; infinite without plants."""
    plants = days.shape[1]
    if plants == 0:
        return np.full((len(days), 1), np.inf)
    needed = int(np.ceil(settings.tray_share * plants - 1e-9))
    return np.sort(days, axis=1)[:, needed - 1 : needed]


def _say(
    row: pd.DataFrame, curves: TrayCurves, futures: Futures, sown_on: date, *, settings: ForecastSettings
) -> tuple[str, ...]:
    """Which curve, when, and how sure."""
    share = f"{100 * settings.tray_share:.0f} % of the plants"
    low, middle, high = (float(row[name].iloc[0]) for name in ("ready_low_das", "ready_das", "ready_high_das"))
    if np.isinf(middle):
        when = f"{share} may never be ready by these curves"
    else:
        day = pd.Timestamp(sown_on) + pd.Timedelta(days=middle)
        until = f"{high:.0f}" if np.isfinite(high) else "no end that can be told"
        when = (
            f"{share} ready on {day.date()} (day {middle:.0f}, {100 * settings.level:.0f} % range {low:.0f} to {until})"
        )
    said = [f"curve: {curves.said}", when]
    if len(futures.theta) > 1:
        said.append(f"futures drawn from {', '.join(futures.theta)}")
    if curves.clock.note:
        said.append(f"clock: {curves.clock.note}")
    return tuple(said)
