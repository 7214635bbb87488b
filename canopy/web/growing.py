"""A tray over days: its readings side by side, and its plants' growth curves where there are enough readings."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from canopy.errors import CanopyError
from canopy.growth import growth_curves, line_up
from canopy.records import TrayRecord
from canopy.store.readings import table
from canopy.web.farm import KnownTray
from canopy.web.site import Site

_DAYS_MIN = 3
_STEPS = 40
WIDTH, HEIGHT, LEFT, BOTTOM = 600.0, 260.0, 56.0, 34.0


@dataclass(frozen=True)
class Curve:
    """Areas over days, laid out for a drawing of `WIDTH` × `HEIGHT`.

    Attributes
    ----------
    points : list of (x, y, y_low, y_high)
        A reading each, with its range.
    line : str
        The curve, points of an SVG polyline; empty where there is none.
    days, areas : list of (place, words)
        Marks of both axes.
    said : str
        What the curve is, or why there is none.
    """

    points: list[tuple[float, float, float, float]]
    line: str
    days: list[tuple[float, str]]
    areas: list[tuple[float, str]]
    said: str


def curve_of(site: Site, tray: KnownTray, record: TrayRecord, *, cell: str) -> Curve | None:
    """Growth of one cell's plant, or of the tray's middle plant where no cell is named; None without readings."""
    with site.store.reading() as connection:
        cells = table(connection, "cells", tray=tray.id)
    cells = cells[cells["das"].notna() & (cells["area_mm2"] > 0)]
    if cells.empty:
        return None
    own = cells[cells["cell"] == cell] if cell else _middle(cells)
    if own.empty:
        return None
    fitted, said = _fitted(site, tray, record, cells, cell=cell)
    return _laid_out(own, fitted, said)


def _middle(cells: pd.DataFrame) -> pd.DataFrame:
    """Median plant of each day."""
    columns = ["area_mm2", "area_low_mm2", "area_high_mm2"]
    return cells.groupby("das", as_index=False)[columns].median()


def _fitted(
    site: Site, tray: KnownTray, record: TrayRecord, cells: pd.DataFrame, *, cell: str
) -> tuple[list[tuple[float, float]], str]:
    """(day, area) along the curve, and what it is."""
    if cells["das"].nunique() < _DAYS_MIN:
        return [], f"a curve needs photos of {_DAYS_MIN} days"
    if tray.recipe is None or record.sown_on is None:
        return [], "a curve needs a crop and a day of sowing in the tray list"
    settings = site.farm.rules.configuration.settings.growth
    try:
        history = line_up(cells, tray=record, settings=settings.history)
        curves = growth_curves(
            history.curves(), recipe=tray.recipe, settings=settings.curve, cell_area_mm2=record.layout.cell_area_mm2
        )
    except (CanopyError, ValueError) as error:
        return [], f"no curve: {error}"
    days = np.linspace(float(cells["das"].min()), float(cells["das"].max()) + 2, _STEPS)
    areas = np.exp(curves.pooled.ln_area(curves.age(days)))
    if cell:
        names = [name.split("/")[0].split(" ")[0] for name in curves.plants]
        if cell not in names:
            return [], "no curve for this cell"
        line = areas[len(names) - 1 - names[::-1].index(cell)]
    else:
        line = np.median(areas, axis=0)
    return list(zip(days.tolist(), line.tolist(), strict=True)), curves.said


def _laid_out(own: pd.DataFrame, fitted: list[tuple[float, float]], said: str) -> Curve:
    days = [float(day) for day in own["das"]]
    lows = [_or(low, area) for low, area in zip(own["area_low_mm2"], own["area_mm2"], strict=True)]
    highs = [_or(high, area) for high, area in zip(own["area_high_mm2"], own["area_mm2"], strict=True)]
    every_day = [*days, *(day for day, _ in fitted)]
    first, last = math.floor(min(every_day)), max(math.ceil(max(every_day)), math.floor(min(every_day)) + 1)
    step_cm2 = _round_step(max([*highs, *(area for _, area in fitted)]) / 100)
    top_cm2 = step_cm2 * math.ceil(max([*highs, *(area for _, area in fitted)]) / 100 / step_cm2)

    def x(day: float) -> float:
        return round(LEFT + (WIDTH - LEFT - 16) * (day - first) / (last - first), 1)

    def y(area_mm2: float) -> float:
        return round(HEIGHT - BOTTOM - (HEIGHT - BOTTOM - 16) * min(area_mm2 / 100 / top_cm2, 1.0), 1)

    points = [
        (x(day), y(float(area)), y(low), y(high))
        for day, area, low, high in zip(days, own["area_mm2"], lows, highs, strict=True)
    ]
    every = max(1, math.ceil((last - first) / 8))
    marks = [step_cm2 * k for k in range(round(top_cm2 / step_cm2) + 1)]
    return Curve(
        points,
        " ".join(f"{x(day)},{y(area)}" for day, area in fitted),
        [(x(day), str(day)) for day in range(first, last + 1, every)],
        [(y(100 * mark), f"{mark:g}") for mark in marks],
        said,
    )


def _or(value: float, other: float) -> float:
    return float(value) if value == value else float(other)


def _round_step(top: float) -> float:
    """A round step that marks an axis up to `top` some four times."""
    rough = max(top, 1e-6) / 4
    power = 10.0 ** math.floor(math.log10(rough))
    return next(step * power for step in (1, 2, 2.5, 5, 10) if step * power >= rough)
