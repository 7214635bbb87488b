"""When plants and tray will be ready, and how many on each day to come, each with a range."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.errors import UsageError
from canopy.growth.curves import TrayCurves
from canopy.growth.draws import Futures, draw_futures
from canopy.growth.expected import target_of
from canopy.records import CropRecipe, TrayRecord
from canopy.records.text import TEXT_TYPE, Dtypes
from canopy.settings.growth import ForecastSettings

FloatArray = NDArray[np.float64]

READY_DTYPES: Dtypes = {
    "plant": TEXT_TYPE, "ready_das": "float64", "ready_low_das": "float64", "ready_high_das": "float64",
    "ready_now": "float64", "note": TEXT_TYPE,
}  # fmt: skip
DAILY_DTYPES: Dtypes = {
    "date": "datetime64[s]",
    "das": "int64",
    "ready": "float64",
    "ready_low": "float64",
    "ready_high": "float64",
}


@dataclass(frozen=True)
class Forecast:
    """What is to come of one tray.

    Attributes
    ----------
    area_mm2 : float
        Area at which a plant is ready by the recipe.
    plants : pandas.DataFrame
        `READY_DTYPES`: middle and range of the day after sowing on which each plant is ready; infinite where the curve
        may never get there; `ready_now` is the probability that it is ready on the day of asking.
    tray : pandas.DataFrame
        One row of the same columns, for the day on which the stated share of plants is ready.
    daily : pandas.DataFrame
        `DAILY_DTYPES`: expected number of plants ready at noon of each day to come (all that are ready by then), with
        range.
    said : tuple of str
        Sentences for people.
    """

    area_mm2: float
    plants: pd.DataFrame
    tray: pd.DataFrame
    daily: pd.DataFrame
    said: tuple[str, ...]


def forecast_tray(
    curves: TrayCurves, *, recipe: CropRecipe, tray: TrayRecord, today: date, settings: ForecastSettings
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
    days = np.maximum(futures.reached_das(area), float(recipe.gates.minimum_das))
    now = float((today - tray.sown_on).days) + _NOON
    plants = _ready_table(list(curves.plants), days, now, settings=settings)
    whole = _tray_days(days, settings=settings)
    row = _ready_table([tray.tray], whole, now, settings=settings)
    daily = _daily(days, today, int(now), settings=settings)
    return Forecast(area, plants, row, daily, _say(row, curves, futures, tray.sown_on, settings=settings))


_NOON = 0.5
"""A day's numbers are those of its noon."""


def _quantiles(values: FloatArray, *, settings: ForecastSettings) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Low end, middle and high end along the first axis; drawn values are taken as they are, for some are infinite."""
    tail = (1 - settings.level) / 2
    low, middle, high = np.quantile(values, [tail, 0.5, 1 - tail], axis=0, method="inverted_cdf")
    return low, middle, high


def _ready_table(names: list[str], days: FloatArray, now: float, *, settings: ForecastSettings) -> pd.DataFrame:
    low, middle, high = _quantiles(days, settings=settings)
    never = np.isinf(days).mean(axis=0)
    notes = ["" if n == 0 else f"may never reach the area ({100 * n:.0f} % of futures)" for n in never]
    columns = {
        "plant": names,
        "ready_das": middle,
        "ready_low_das": low,
        "ready_high_das": high,
        "ready_now": (days <= now).mean(axis=0),
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


def _daily(days: FloatArray, today: date, das: int, *, settings: ForecastSettings) -> pd.DataFrame:
    ahead = np.arange(1, settings.days + 1)
    counts = (days[:, :, None] <= das + ahead + _NOON).sum(axis=1)
    low, _, high = _quantiles(counts, settings=settings)
    columns = {
        "date": pd.Timestamp(today) + pd.to_timedelta(ahead, unit="D"),
        "das": das + ahead,
        "ready": counts.mean(axis=0),
        "ready_low": low,
        "ready_high": high,
    }
    return pd.DataFrame(columns, columns=list(DAILY_DTYPES)).astype(DAILY_DTYPES)


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
