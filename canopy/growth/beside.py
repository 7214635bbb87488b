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
        ln of area over the forecast from all photos before the last one, the tray's own departure taken off; NaN where
        not seen.
    z : (k, p) float array
        The same in robust standard deviations of the tray's plants on that photo.
    tray_ln : (k,) float array
        Departure of the tray as a whole from its forecast from all photos before.
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
    plants, tray = np.zeros((2, len(judged), len(names))), np.zeros((2, len(judged)))
    held: TrayCurves | None = None
    for k, das in enumerate(judged):
        # Plants not seen before are forecast from the tray: all names go in, later areas do not.
        before = readings.assign(area_mm2=readings["area_mm2"].where(readings["das"] < das))
        curves = growth_curves(
            before, recipe=recipe, settings=curve, clock=clock, cell_area_mm2=cell_area_mm2, shapes=(_SHAPE,)
        )
        today = seen[seen["das"] == das]
        # Plants beside each other by the forecast of a photo before: the last photo would already teach the curves of
        # a row that falls behind to fall behind.
        plants[:, k] = _beside(held or curves, today, float(das), curve=curve)
        tray[:, k] = _whole(curves, today, float(das), curve=curve, watch=watch)
        held = curves
    whole, whole_sd = tray
    again = watch.tray_memory * np.concatenate([[0.0], np.nan_to_num(whole[:-1])])[: len(whole)]
    return Departures(judged, names, plants[0], plants[1], whole, (whole - again) / whole_sd)


def _off(curves: TrayCurves, today: pd.DataFrame, das: float) -> tuple[FloatArray, FloatArray, NDArray[np.int64]]:
    """(p,) ln of area over forecast, NaN where not seen; slopes of the forecasts; rows of the plants seen."""
    fit = curves.pooled
    where = {name: i for i, name in enumerate(curves.plants)}
    index = np.array([where[name] for name in today["plant"].astype(str)], dtype=np.int64)
    age = curves.age(np.array([das]))
    off = np.full(len(curves.plants), np.nan)
    off[index] = np.log(today["area_mm2"].to_numpy(dtype=float)) - ln_area(fit.shape, fit.theta, age)[index, 0]
    return off, slopes(fit.shape, fit.theta, age)[:, 0], index


def _beside(
    curves: TrayCurves, today: pd.DataFrame, das: float, *, curve: CurveSettings
) -> tuple[FloatArray, FloatArray]:
    """Each plant's departure less the tray's, and the same in robust standard deviations."""
    off, slope, index = _off(curves, today, das)
    reading = np.full(len(off), np.nan)
    reading[index] = ln_sd(today, settings=curve) * curves.pooled.sigma
    sd = np.sqrt(np.einsum("pk,pkl,pl->p", slope, curves.pooled.own, slope) + reading**2)
    off = off - float(np.nanmedian(off))
    z = off / sd
    middle = np.nanmedian(z)
    spread = _MAD_TO_SD * float(np.nanmedian(np.abs(z - middle)))
    return off, (z - middle) / max(spread, _LEAST_SPREAD)


def _whole(
    curves: TrayCurves, today: pd.DataFrame, das: float, *, curve: CurveSettings, watch: WatchSettings
) -> tuple[float, float]:
    """The tray's departure, and how well its forecast is known."""
    off, slope, index = _off(curves, today, das)
    fit = curves.pooled
    # What all plants share: the forecast of the tray's mean, and the error of this photo.
    lean = np.einsum("pk,pkm->pm", slope, fit.lean)[index].mean(axis=0)
    sd = float(np.sqrt(lean @ fit.tray_covariance @ lean + curve.photo_sd**2 + watch.tray_sd**2))
    return float(np.nanmedian(off)), sd


_LEAST_SPREAD = 0.2
"""Plants that all keep closer to their forecasts than this share of what is expected are not blown up to noise."""
