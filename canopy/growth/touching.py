"""When neighbours will touch: spacing or transplanting is due before."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import KDTree

from canopy.growth.curves import TrayCurves
from canopy.growth.draws import draw_futures
from canopy.records import Layout
from canopy.settings.growth import ForecastSettings

FloatArray = NDArray[np.float64]

_DISC = 4.0 / math.pi
_NEIGHBOURS = 1.1
"""Neighbours are cells not farther apart than this times the longer pitch: the four sides, and six if staggered."""


@dataclass(frozen=True)
class Touching:
    """When neighbours will touch.

    Attributes
    ----------
    das, low_das, high_das : float
        Middle and range of the first day on which the stated share of pairs of neighbours touches; infinite where that
        is not within the days looked at; NaN without pairs.
    daily : pandas.DataFrame
        `das`, `touching`: expected share of pairs that touch on each day from today on.
    width_factor : float
        Greatest width squared over area that was used.
    said : str
        One sentence.
    """

    das: float
    low_das: float
    high_das: float
    daily: pd.DataFrame
    width_factor: float
    said: str


def when_touching(
    curves: TrayCurves, readings: pd.DataFrame, *, layout: Layout, today_das: int, settings: ForecastSettings
) -> Touching:
    """Forecast when neighbours touch.

    Plants are taken as round, as wide as their greatest width; its square over the area stays as measured last.

    Parameters
    ----------
    curves : TrayCurves
    readings : pandas.DataFrame
        `plant`, `row`, `col`, `area_mm2` and, where measured, `diameter_mm`: the rows that the curves were fitted to.
    layout : Layout
    today_das : int
        Day of asking.
    settings : ForecastSettings

    Returns
    -------
    Touching
    """
    factor = _width_factor(readings, settings=settings)
    pairs, gap = _pairs(curves, readings, layout)
    days = today_das + np.arange(settings.touch_days + 1, dtype=float)
    if not len(pairs):
        empty = pd.DataFrame({"das": days, "touching": np.full(len(days), np.nan)})
        return Touching(math.nan, math.nan, math.nan, empty, factor, "no two neighbours have plants")
    width = np.sqrt(factor * np.exp(draw_futures(curves, settings=settings).ln_area(days)))
    share = np.stack(
        [((width[:, pairs[:, 0], k] + width[:, pairs[:, 1], k]) / 2 >= gap).mean(axis=1) for k in range(len(days))]
    )
    touches = share >= settings.touch_share
    first = np.where(touches.any(axis=0), days[np.argmax(touches, axis=0)], np.inf)
    tail = (1 - settings.level) / 2
    low, middle, high = np.quantile(first, [tail, 0.5, 1 - tail], method="inverted_cdf")
    daily = pd.DataFrame({"das": days, "touching": share.mean(axis=1)})
    said = _say(float(low), float(middle), float(high), settings=settings)
    return Touching(float(middle), float(low), float(high), daily, factor, said)


def _width_factor(readings: pd.DataFrame, *, settings: ForecastSettings) -> float:
    if "diameter_mm" not in readings:
        return settings.width_factor
    diameter, area = (readings[name].to_numpy(dtype=float) for name in ("diameter_mm", "area_mm2"))
    known = (np.nan_to_num(diameter) > 0) & (np.nan_to_num(area) > 0)
    return max(float(np.median(diameter[known] ** 2 / area[known])), _DISC) if known.any() else settings.width_factor


def _pairs(curves: TrayCurves, readings: pd.DataFrame, layout: Layout) -> tuple[NDArray[np.int64], FloatArray]:
    """(m, 2) numbers of neighbouring plants and their distances in mm."""
    places = readings.drop_duplicates("plant", keep="last").set_index("plant")[["row", "col"]]
    places = places.reindex(list(curves.plants)).astype(int)
    at = layout.centres_mm()[(places["row"] - 1) * layout.columns + places["col"] - 1]
    if len(at) < 2:
        return np.zeros((0, 2), dtype=np.int64), np.zeros(0)
    reach = _NEIGHBOURS * max(layout.pitch_x_mm, layout.pitch_y_mm)
    pairs = np.sort(KDTree(at).query_pairs(reach, output_type="ndarray"), axis=1)
    gap = np.hypot(*(at[pairs[:, 0]] - at[pairs[:, 1]]).T)
    # Two curves of one cell (before and after a cut) are no neighbours.
    return pairs[gap > 0].astype(np.int64), gap[gap > 0]


def _say(low: float, middle: float, high: float, *, settings: ForecastSettings) -> str:
    share = f"{100 * settings.touch_share:.0f} % of neighbours touch"
    if math.isinf(middle):
        return f"less than {share} within {settings.touch_days} days"
    until = f"{high:.0f}" if math.isfinite(high) else "later"
    when = f"day {middle:.0f} ({100 * settings.level:.0f} % range {low:.0f} to {until})"
    return f"{share} on {when}; space or transplant before"
