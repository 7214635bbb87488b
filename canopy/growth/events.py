"""What growers note of their trays: transplanted, thinned, harvested, re-sown, cut; checked line by line."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from canopy.growth.checks import Check, Complaint
from canopy.records import TrayRecord
from canopy.records.text import TEXT_TYPE

EVENT_COLUMNS = ("tray", "cell", "date", "event")
NEW_PLANT = ("transplanted", "thinned", "harvested", "resown")
NEW_CURVE = ("cut",)
WHOLE_TRAY = "whole tray"


def check_events(table: pd.DataFrame, *, trays: Mapping[str, TrayRecord]) -> tuple[pd.DataFrame, tuple[Complaint, ...]]:
    """Check notes and write those of a whole tray out by cell.

    Parameters
    ----------
    table : pandas.DataFrame
        `tray`, `cell` (a name, `whole tray` or empty for all cells), `date`, `event`: `transplanted` (moved out of the
        cell), `thinned`, `harvested`, `resown` begin a new plant in the cell; `cut` keeps the plant, which grows again.
    trays : mapping of tray id to TrayRecord
        All trays there are.

    Returns
    -------
    events : pandas.DataFrame
        `tray`, `cell`, `date` (midnight), `event`, one row per cell, sorted by tray and date.
    complaints : tuple of Complaint
        Lines that could not be used.
    """
    check = Check(table, name="events", columns=EVENT_COLUMNS)
    check.known("tray", trays, what="tray")
    check.day("date")
    check.known("event", (*NEW_PLANT, *NEW_CURVE), what="event")
    refuse_unknown_cells(check, trays)
    refuse_before_sowing(check, trays)
    check.once(("tray", "cell", "date", "event"))
    good, complaints = check.result()
    cells = [
        trays[tray].layout.names() if cell == WHOLE_TRAY else [cell]
        for tray, cell in zip(good["tray"], good["cell"], strict=True)
    ]
    rows = (
        good[list(EVENT_COLUMNS)]
        .assign(cell=pd.Series(cells, dtype="object"))
        .explode("cell")
        .astype({"cell": TEXT_TYPE})
    )
    return rows.sort_values(["tray", "date"], kind="stable", ignore_index=True), complaints


def refuse_unknown_cells(check: Check, trays: Mapping[str, TrayRecord]) -> None:
    """Cell names that the tray does not have; an empty one becomes `whole tray`."""
    cells = check.table["cell"].astype(TEXT_TYPE).str.strip().fillna("")
    cells = cells.where((cells != "") & (cells.str.lower() != WHOLE_TRAY), WHOLE_TRAY)
    check.table["cell"] = cells.where(cells == WHOLE_TRAY, cells.str.upper())
    names = {tray: {*record.layout.names(), WHOLE_TRAY} for tray, record in trays.items()}
    bad = [
        tray in names and cell not in names[tray]
        for tray, cell in zip(check.table["tray"], check.table["cell"], strict=True)
    ]
    check.refuse(bad, "cell", "its tray has no cell {value}; write a name like B4, or `whole tray`")


def refuse_before_sowing(check: Check, trays: Mapping[str, TrayRecord]) -> None:
    """Dates before the tray was sown; trays without a day of sowing are let pass."""
    sown = [trays[tray].sown_on if tray in trays else None for tray in check.table["tray"]]
    days = pd.to_datetime(pd.Series(sown, index=check.table.index, dtype="object")).to_numpy(dtype="datetime64[ns]")
    dates = check.table["date"].to_numpy(dtype="datetime64[ns]")
    for day in np.unique(days[~np.isnat(days)]):
        said = f"{{value}} is before the tray was sown ({pd.Timestamp(day).date()}); correct one of them"
        shown = check.table["date"].astype(TEXT_TYPE).str.slice(0, 10)
        check.refuse((days == day) & (dates < day), "date", said, shown=shown)
