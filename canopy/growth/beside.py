"""How far each plant departs from its own forecast, beside how far its neighbours do from theirs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.growth.clock import PLAIN_DAYS, Clock
from canopy.growth.curves import TrayCurves, growth_curves, ln_sd
from canopy.growth.shapes import Shape, ln_area, slopes
from canopy.records import CropRecipe
from canopy.settings.growth import CurveSettings, WatchSettings

FloatArray = NDArray[np.float64]

_SHAPE: Shape = "logistic"
"""One curve does: what it gets wrong it gets wrong for all plants of a photo, and that is taken off."""
_MAD_TO_SD = 1.4826
"""Standard deviation of a normal law over its median absolute deviation."""


@dataclass(frozen=True)
class Departures:
    """Departures of a tray's plants, photo by photo.

    Attributes
    ----------
    das : (k,) float array
        Day of each photo judged.
    plants : tuple of str
    ln : (k, p) float array
        ln of area over the forecast from all photos before, the tray's own departure taken off; NaN where not seen.
    z : (k, p) float array
        The same in robust standard deviations of the tray's plants on that photo.
    tray_ln : (k,) float array
        Departure of the tray as a whole.
    tray_z : (k,) float array
        What is new in it, in standard deviations of what the forecast of the tray is known to: a share of the last
        departure is expected again, because a curve that is not quite true stays so for some days.
    """

    das: FloatArray
    plants: tuple[str, ...]
    ln: FloatArray
    z: FloatArray
    tray_ln: FloatArray
    tray_z: FloatArray


def departures(
    readings: pd.DataFrame,
    *,
    recipe: CropRecipe,
    curve: CurveSettings,
    watch: WatchSettings,
    clock: Clock = PLAIN_DAYS,
    cell_area_mm2: float | None = None,
) -> Departures:
    """Hold each photo against the forecast from those before it.

    Parameters
    ----------
    readings : pandas.DataFrame
        As `growth_curves` takes them.
    recipe : CropRecipe
    curve : CurveSettings
    watch : WatchSettings
    clock : Clock
    cell_area_mm2 : float, optional
        Needed when the recipe judges cover.

    Returns
    -------
    Departures
        No rows while there are too few photos.
    """
    seen = readings[readings["area_mm2"].astype("float64") > 0]
    days = np.unique(seen["das"].to_numpy(dtype=float))
    names = tuple(np.unique(readings["plant"].to_numpy(dtype=str)).tolist())
    judged = days[watch.photos_before :]
    rows = [np.zeros((0, len(names))), np.zeros((0, len(names))), np.zeros(0), np.zeros(0)]
    for das in judged:
        # Plants not seen before are forecast from the tray: all names go in, later areas do not.
        before = readings.assign(area_mm2=readings["area_mm2"].where(readings["das"] < das))
        curves = growth_curves(
            before, recipe=recipe, settings=curve, clock=clock, cell_area_mm2=cell_area_mm2, shapes=(_SHAPE,)
        )
        today = seen[seen["das"] == das]
        for i, part in enumerate(_one_photo(curves, today, float(das), curve=curve, watch=watch)):
            rows[i] = np.concatenate([rows[i], np.asarray(part)[None]])
    ln, z, whole, whole_sd = rows
    again = watch.tray_memory * np.concatenate([[0.0], np.nan_to_num(whole[:-1])])[: len(whole)]
    return Departures(judged, names, ln, z, whole, (whole - again) / whole_sd)


def _one_photo(
    curves: TrayCurves, today: pd.DataFrame, das: float, *, curve: CurveSettings, watch: WatchSettings
) -> tuple[FloatArray, FloatArray, float, float]:
    fit = curves.pooled
    where = {name: i for i, name in enumerate(curves.plants)}
    index = np.array([where[name] for name in today["plant"].astype(str)])
    age = curves.age(np.array([das]))
    forecast = ln_area(fit.shape, fit.theta, age)[:, 0]
    slope = slopes(fit.shape, fit.theta, age)[:, 0]
    off = np.full(len(curves.plants), np.nan)
    off[index] = np.log(today["area_mm2"].to_numpy(dtype=float)) - forecast[index]
    reading = np.full(len(curves.plants), np.nan)
    reading[index] = ln_sd(today, settings=curve) * fit.sigma
    sd = np.sqrt(np.einsum("pk,pkl,pl->p", slope, fit.own, slope) + reading**2)
    whole = float(np.nanmedian(off))
    # What all plants share: the forecast of the tray's mean, and the error of this photo.
    lean = np.einsum("pk,pkm->pm", slope, fit.lean)[index].mean(axis=0)
    whole_sd = float(np.sqrt(lean @ fit.tray_covariance @ lean + curve.photo_sd**2 + watch.tray_sd**2))
    z = (off - whole) / sd
    spread = _MAD_TO_SD * float(np.nanmedian(np.abs(z - np.nanmedian(z))))
    return off - whole, (z - np.nanmedian(z)) / max(spread, _LEAST_SPREAD), whole, whole_sd


_LEAST_SPREAD = 0.2
"""Plants that all keep closer to their forecasts than this share of what is expected are not blown up to noise."""
