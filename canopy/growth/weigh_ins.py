"""Weigh-ins as growers write them, checked line by line and matched with the photo that shows what was weighed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.growth.checks import LINE, Check, Complaint
from canopy.growth.events import WHOLE_TRAY, refuse_before_sowing, refuse_unknown_cells
from canopy.records import TrayRecord
from canopy.settings.growth import WeightSettings

FloatArray = NDArray[np.float64]

WEIGH_IN_COLUMNS = ("tray", "cell", "date", "grams")


@dataclass(frozen=True)
class Weighed:
    """One weigh-in with the areas that were on the scales.

    Attributes
    ----------
    tray, cell : str
        `cell` is `whole tray` for a tray's total.
    das : float
        Days after sowing of the photo.
    grams : float
    area_mm2 : (n,) float array
        Areas of the plants weighed together; one for a single cell.
    """

    tray: str
    cell: str
    das: float
    grams: float
    area_mm2: FloatArray

    @property
    def single(self) -> bool:
        """True for one plant."""
        return self.cell != WHOLE_TRAY


def check_weigh_ins(
    table: pd.DataFrame, *, trays: Mapping[str, TrayRecord]
) -> tuple[pd.DataFrame, tuple[Complaint, ...]]:
    """Check weigh-ins.

    Parameters
    ----------
    table : pandas.DataFrame
        `tray`, `cell` (a name, `whole tray` or empty for all), `date`, `grams` (above 0).
    trays : mapping of tray id to TrayRecord
        All trays there are.

    Returns
    -------
    weigh_ins : pandas.DataFrame
        The good lines with `date` at midnight, `grams` as numbers and their `line`.
    complaints : tuple of Complaint
    """
    check = Check(table, name="weigh-ins", columns=WEIGH_IN_COLUMNS)
    check.known("tray", trays, what="tray")
    check.day("date")
    check.number("grams", above=0.0)
    refuse_unknown_cells(check, trays)
    refuse_before_sowing(check, trays)
    check.once(("tray", "cell", "date"))
    check.table[LINE] = check.lines
    return check.result()


def match_weigh_ins(
    weigh_ins: pd.DataFrame,
    readings: Mapping[str, pd.DataFrame],
    *,
    trays: Mapping[str, TrayRecord],
    settings: WeightSettings,
) -> tuple[tuple[Weighed, ...], tuple[Complaint, ...]]:
    """Find what was on the scales.

    Parameters
    ----------
    weigh_ins : pandas.DataFrame
        As `check_weigh_ins` gives them.
    readings : mapping of tray id to pandas.DataFrame
        Lined up readings of each tray (`History.table`).
    trays : mapping of tray id to TrayRecord
    settings : WeightSettings

    Returns
    -------
    weighed : tuple of Weighed
    complaints : tuple of Complaint
        Weigh-ins without a photo near enough, or of a cell without a plant.
    """
    found, complaints = [], []
    columns = (weigh_ins[name].tolist() for name in ("tray", "cell", "date", "grams", LINE))
    for tray, cell, day, grams, line in zip(*columns, strict=True):
        sown_on = trays[tray].sown_on
        # Weighed at some time of its day: photos up to the end of that day count.
        until = (day - pd.Timestamp(sown_on)).days + 1.0 if sown_on else np.nan
        table = readings.get(tray)
        near = _last_photo(table, until, settings=settings)
        if near is None:
            text = f"no photo of {tray} in the {settings.match_days:g} days before; weigh plants on the day of a photo"
            complaints.append(Complaint("weigh-ins", line, "date", text))
            continue
        plants = near if cell == WHOLE_TRAY else near[near["cell"] == cell]
        area = plants["area_mm2"].to_numpy(dtype=float)
        area = area[np.isfinite(area) & (np.nan_to_num(area) > 0)]
        if not len(area):
            complaints.append(
                Complaint("weigh-ins", line, "cell", f"the photo shows no plant in {cell}; correct the cell")
            )
            continue
        found.append(Weighed(tray, cell, float(near["das"].iloc[0]), float(grams), area))
    return tuple(found), tuple(complaints)


def _last_photo(table: pd.DataFrame | None, until: float, *, settings: WeightSettings) -> pd.DataFrame | None:
    if table is None or not len(table) or np.isnan(until):
        return None
    das = table["das"].to_numpy(dtype=float)
    near = das[(das < until) & (das >= until - 1.0 - settings.match_days)]
    return table[das == near.max()] if len(near) else None
