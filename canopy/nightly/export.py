"""A table of the store to a file, readings held in memory a few at a time."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
from sqlalchemy import Connection

from canopy.measure.columns import Column
from canopy.nightly.farm import find_farm
from canopy.outputs.export import write_table
from canopy.store.database import opened
from canopy.store.logbook import CORRECTION_COLUMNS, HARVEST_COLUMNS, corrections, harvests
from canopy.store.readings import TABLES, tables

_BOOKS: dict[str, tuple[Callable[[Connection], pd.DataFrame], tuple[Column, ...]]] = {
    "corrections": (corrections, CORRECTION_COLUMNS),
    "harvests": (harvests, HARVEST_COLUMNS),
}


def export_table(
    folder: Path | None, name: str, out: Path, *, tray: str | None, store: str | None, settings: Path | None
) -> int:
    """Write one table.

    Parameters
    ----------
    folder, store, settings
        As of `canopy.nightly.farm.find_farm`.
    name : str
        A key of `canopy.store.readings.TABLES`, `corrections` or `harvests`.
    out : pathlib.Path
        Its ending names the format.
    tray : str, optional
        Only this tray's.

    Returns
    -------
    int
        Rows written.
    """
    farm = find_farm(folder, store=store, settings=settings)
    chosen = farm.settings
    with opened(farm.store, busy_timeout_s=chosen.store.busy_timeout_s) as kept, kept.reading() as connection:
        if name in _BOOKS:
            read, columns = _BOOKS[name]
            whole = read(connection)
            parts = iter([whole if tray is None else whole[whole["tray"] == tray]])
        else:
            columns = TABLES[name]
            parts = tables(connection, name, tray=tray, at_once=chosen.store.readings_at_once)
        return write_table(out, parts, columns=columns, significant_digits=chosen.outputs.significant_digits)
