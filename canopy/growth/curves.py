"""Readings of one tray's plants in, a growth curve for each plant out, with what is known and what is not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.growth.clock import PLAIN_DAYS, Clock
from canopy.growth.expected import expected_growth
from canopy.growth.fit import Data
from canopy.growth.pool import Photos, Pooled, best_pooled, fit_pooled
from canopy.growth.shapes import SHAPES, Shape, reached_at, relative_rate
from canopy.records import CropRecipe
from canopy.records.text import TEXT_TYPE, Dtypes
from canopy.settings.growth import CurveSettings

FloatArray = NDArray[np.float64]

READING_COLUMNS = ("plant", "das", "area_mm2", "area_low_mm2", "area_high_mm2")
CURVE_DTYPES: Dtypes = {
    "plant": TEXT_TYPE, "readings": "int64", "last_das": "float64", "shape": TEXT_TYPE, "area_mm2": "float64",
    "rgr_per_day": "float64", "rgr_se": "float64", "final_area_mm2": "float64", "odd_readings": "int64",
    "note": TEXT_TYPE,
}  # fmt: skip


@dataclass(frozen=True)
class TrayCurves:
    """Growth curves of the plants of one tray.

    Attributes
    ----------
    plants : tuple of str
        In the order of the rows of `pooled`.
    starts : (p,) float array
        Days after sowing at which each plant's clock stands at 0.
    pooled : Pooled
        The curve chosen.
    tried : tuple of Pooled
        All curves tried, best first.
    said : str
        Which curve, and how clearly.
    clock : Clock
    table : pandas.DataFrame
        One row per plant, `CURVE_DTYPES`: the area by the curve on the day of the plant's last reading, relative growth
        rate there with standard error (per day; on a thermal clock per standard day), final area where it is pinned
        down, else NaN and a note.
    odd : pandas.DataFrame
        `plant`, `das`, `area_mm2`, `z`: readings far off their curves, which hardly counted.
    """

    plants: tuple[str, ...]
    starts: FloatArray
    pooled: Pooled
    tried: tuple[Pooled, ...]
    said: str
    clock: Clock
    table: pd.DataFrame
    odd: pd.DataFrame

    def age(self, das: FloatArray) -> FloatArray:
        """(p, n) clock of each plant at days after sowing (n,)."""
        return np.asarray(self.clock.at(das)[None, :] - self.clock.at(self.starts)[:, None])

    def das_of(self, age: FloatArray) -> FloatArray:
        """(…, p) days after sowing at which the plants' clocks stand at `age` (…, p); infinite stays infinite."""
        return self.clock.das(age + self.clock.at(self.starts))


def growth_curves(
    readings: pd.DataFrame,
    *,
    recipe: CropRecipe,
    settings: CurveSettings,
    clock: Clock = PLAIN_DAYS,
    cell_area_mm2: float | None = None,
    shapes: Sequence[Shape] = SHAPES,
) -> TrayCurves:
    """Fit a curve to each plant of one tray, leaning on the tray and the recipe as far as its readings are few.

    Parameters
    ----------
    readings : pandas.DataFrame
        `plant`, `das` (days after sowing, fractions allowed), `area_mm2`, `area_low_mm2`, `area_high_mm2` and
        optionally `start_das` (where the plant's clock starts; 0 when absent) and `regrown` (True after a cut: the
        plant is taken to grow on as an uncut one of its size does, and its clock is set so that the tray's curve has
        the area of its first reading). Readings without area count as a plant
        not seen; a plant with none of them gets the tray's curve.
    recipe : CropRecipe
    settings : CurveSettings
    clock : Clock
        Days after sowing, or `thermal_clock`.
    cell_area_mm2 : float, optional
        Needed when the recipe judges cover and not area.
    shapes : sequence of shape names
        Curves to try.

    Returns
    -------
    TrayCurves
    """
    expected = {s: expected_growth(recipe, s, settings=settings, cell_area_mm2=cell_area_mm2) for s in shapes}
    names, starts, data, das = _data(readings, clock=clock, settings=settings)
    regrown = _regrown(readings, names) & data.seen[:, 0]
    if regrown.any():
        shape, first = next(iter(expected.items()))
        # Uncut plants tell the tray's own curve; without any it is the recipe's.
        uncut = replace(data, seen=data.seen & ~regrown[:, None])
        tray = fit_pooled(shape, uncut, expected=first, settings=settings, photos=_photos(das, uncut.seen)).tray[:3]
        age = reached_at(shape, tray[None], np.exp(data.y[:, 0]))
        starts, data = _set_back(regrown, starts, data, das, clock=clock, age=age)
    best, tried, said = best_pooled(data, expected=expected, settings=settings, photos=_photos(das, data.seen))
    table = _table(names, data, das, best, settings=settings)
    return TrayCurves(names, starts, best, tried, said, clock, table, _odd(names, data, das, best, settings=settings))


def ln_sd(readings: pd.DataFrame, *, settings: CurveSettings) -> FloatArray:
    """(n,) standard deviation of ln area of each reading from its range; the setting's where there is no range."""
    low, high = (readings[name].to_numpy(dtype=float) for name in ("area_low_mm2", "area_high_mm2"))
    known = np.isfinite(low) & np.isfinite(high) & (np.nan_to_num(low) > 0) & (np.nan_to_num(high) > 0)
    width = np.log(np.where(known, high, 1.0)) - np.log(np.where(known, low, 1.0))
    sd = np.where(known, width / (2 * settings.range_factor), settings.reading_sd)
    return np.maximum(sd, settings.reading_sd_floor)


def _data(
    readings: pd.DataFrame, *, clock: Clock, settings: CurveSettings
) -> tuple[tuple[str, ...], FloatArray, Data, FloatArray]:
    """Plants' names, their starts, padded readings and the days of these."""
    names, which = np.unique(readings["plant"].to_numpy(dtype=str), return_inverse=True)
    starts = np.zeros(len(names))
    if "start_das" in readings:
        starts[which] = readings["start_das"].to_numpy(dtype=float)
    area = readings["area_mm2"].to_numpy(dtype=float)
    usable = np.isfinite(area) & (np.nan_to_num(area) > 0)
    order = np.lexsort((readings["das"].to_numpy(dtype=float), which))
    order = order[usable[order]]
    plant = which[order]
    place = np.arange(len(order)) - np.searchsorted(plant, plant)
    shape = (len(names), int(place.max()) + 1 if len(order) else 1)

    def padded(values: FloatArray, fill: float) -> FloatArray:
        full = np.full(shape, fill)
        full[plant, place] = values
        return full

    das = padded(readings["das"].to_numpy(dtype=float)[order], 0.0)
    age = clock.at(das) - clock.at(starts)[:, None]
    y = padded(np.log(area[order]), 0.0)
    sd = padded(ln_sd(readings, settings=settings)[order], 1.0)
    seen = padded(np.ones(len(order)), 0.0) > 0
    return tuple(map(str, names)), starts, Data(age, y, sd, seen, dof=settings.tail_dof), das


def _regrown(readings: pd.DataFrame, names: tuple[str, ...]) -> NDArray[np.bool_]:
    """(p,) True for plants whose readings are of the growth after a cut."""
    if "regrown" not in readings:
        return np.zeros(len(names), dtype=bool)
    flags = readings.assign(regrown=readings["regrown"].astype(bool)).groupby("plant")["regrown"].any()
    return flags.reindex(list(names)).to_numpy(dtype=bool)


def _set_back(
    regrown: NDArray[np.bool_], starts: FloatArray, data: Data, das: FloatArray, *, clock: Clock, age: FloatArray
) -> tuple[FloatArray, Data]:
    """Starts of clocks that show `age` at a regrown plant's first reading, and the data on these clocks."""
    # A plant larger than the curve ever gets has no place on it; it keeps the day of the cut.
    placed = regrown & np.isfinite(age)
    moved = clock.das(clock.at(das[:, 0]) - np.where(placed, age, 0.0))
    starts = np.where(placed, moved, starts)
    return starts, replace(data, t=clock.at(das) - clock.at(starts)[:, None])


def _photos(das: FloatArray, seen: NDArray[np.bool_]) -> Photos:
    """Readings of one time are of one photo."""
    times = np.unique(das[seen])
    return Photos(np.minimum(np.searchsorted(times, das), max(len(times) - 1, 0)), len(times))


def _table(
    names: tuple[str, ...], data: Data, das: FloatArray, fit: Pooled, *, settings: CurveSettings
) -> pd.DataFrame:
    count = data.seen.sum(axis=1)
    last = np.where(data.seen, data.t, -np.inf).max(axis=1)
    at = np.where(count > 0, last, 0.0)[:, None]
    rate, rate_se = _rate_with_se(fit, at)
    none = count == 0
    pinned, notes = _final(fit, at[:, 0], none, settings=settings)
    columns = {
        "plant": names,
        "readings": count,
        "last_das": np.where(none, np.nan, np.where(data.seen, das, -np.inf).max(axis=1)),
        "shape": fit.shape,
        "area_mm2": np.where(none, np.nan, np.exp(fit.ln_area(at))[:, 0]),
        "rgr_per_day": np.where(none, np.nan, rate),
        "rgr_se": np.where(none, np.nan, rate_se),
        "final_area_mm2": np.where(pinned, np.exp(fit.theta[:, 0]), np.nan),
        "odd_readings": (np.abs(fit.z) > settings.odd_reading).sum(axis=1),
        "note": notes,
    }
    return pd.DataFrame(columns, columns=list(CURVE_DTYPES)).astype(CURVE_DTYPES)


def _rate_with_se(fit: Pooled, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Relative growth rate and its standard error (delta method, central differences)."""
    step = 1e-4
    rate = relative_rate(fit.shape, fit.theta, at)[:, 0]
    by = [
        (relative_rate(fit.shape, fit.theta + e, at) - relative_rate(fit.shape, fit.theta - e, at))[:, 0] / (2 * step)
        for e in step * np.eye(3)
    ]
    gradient = np.stack(by, axis=1)
    return rate, np.sqrt(np.einsum("pk,pkl,pl->p", gradient, fit.covariance, gradient))


def _final(
    fit: Pooled, last: FloatArray, none: NDArray[np.bool_], *, settings: CurveSettings
) -> tuple[NDArray[np.bool_], list[str]]:
    """Where the final area is pinned down, and a note where not.

    It takes a reading past the inflexion too: before it, a final area is the crop's or the tray's, not the plant's.
    """
    sd = np.sqrt(fit.covariance[:, 0, 0])
    past = last > fit.theta[:, 2]
    if fit.shape == "expolinear":
        return np.zeros(len(last), dtype=bool), ["no reading" if n else "" for n in none]
    pinned = past & (sd <= settings.pinned_sd) & ~none
    why = np.where(past, [f"known to {100 * min(s, 9.99):.0f} % only" for s in sd], "before the inflexion")
    notes = [
        "no reading" if n else "" if ok else f"final area not pinned down ({text})"
        for n, ok, text in zip(none, pinned, why, strict=True)
    ]
    return pinned, notes


def _odd(names: tuple[str, ...], data: Data, das: FloatArray, fit: Pooled, *, settings: CurveSettings) -> pd.DataFrame:
    plant, place = np.nonzero(np.abs(fit.z) > settings.odd_reading)
    columns = {
        "plant": pd.Series([names[i] for i in plant], dtype=TEXT_TYPE),
        "das": das[plant, place],
        "area_mm2": np.exp(data.y[plant, place]),
        "z": fit.z[plant, place],
    }
    return pd.DataFrame(columns)
