"""The newest reading of every tray, and one reading by its number, without going through all readings.

A tray's readings are in order in the index `readings_of_tray`; going from tray to tray in it takes as many steps as
there are trays, however many days each has.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
from sqlalchemy import Connection, select, text

from canopy.measure.columns import CELL_COLUMNS, TRAY_COLUMNS
from canopy.store.readings import CRITERIA_COLUMNS, REMARK_COLUMNS, read_numbers
from canopy.store.schema import CELLS, PHOTOS, READINGS

_TRAYS = """
WITH RECURSIVE each_tray(tray) AS (
    SELECT min(tray) FROM readings
    UNION ALL
    SELECT (SELECT min(tray) FROM readings WHERE tray > each_tray.tray) FROM each_tray WHERE each_tray.tray IS NOT NULL
)
SELECT (
    SELECT id FROM readings WHERE readings.tray = each_tray.tray ORDER BY taken_at DESC NULLS LAST, id DESC LIMIT 1
) FROM each_tray WHERE tray IS NOT NULL
"""
# SQLite takes no more than some 32,000 values in one statement.
_KEYS_AT_ONCE = 5000


@dataclass(frozen=True)
class Latest:
    """The newest reading of a tray, in the figures that a board shows.

    Attributes
    ----------
    id : int
        Number of the reading.
    photo_sha256, tray : str
    taken_at, quality, quality_reason, pattern, decision : str or None
    cells, planted : int
    ready : int or None
    evenness, cv_area, mean_area_mm2, emergence : float or None
    """

    id: int
    photo_sha256: str
    tray: str
    taken_at: str | None
    quality: str | None
    quality_reason: str | None
    cells: int
    planted: int
    ready: int | None
    evenness: float | None
    cv_area: float | None
    mean_area_mm2: float | None
    emergence: float | None
    pattern: str | None
    decision: str | None


_LATEST = tuple(READINGS.c[name] for name in Latest.__dataclass_fields__)


@dataclass(frozen=True)
class Kept:
    """A reading out of the store.

    Attributes
    ----------
    id : int
    photo_sha256 : str
    tray : str
    path : str
        Of the photo, below the folder, as when it was worked through.
    made_with : str
        Checksum of all that it rests on but the photo.
    cells, trays, criteria, remarks : pandas.DataFrame
        With the promised columns; `trays` has one row.
    """

    id: int
    photo_sha256: str
    tray: str
    path: str
    made_with: str
    cells: pd.DataFrame
    trays: pd.DataFrame
    criteria: pd.DataFrame
    remarks: pd.DataFrame


def latest(connection: Connection) -> list[Latest]:
    """The newest reading of every tray, by tray."""
    numbers = [number for number in connection.execute(text(_TRAYS)).scalars() if number is not None]
    found = []
    for start in range(0, len(numbers), _KEYS_AT_ONCE):
        wanted = select(*_LATEST).where(READINGS.c.id.in_(numbers[start : start + _KEYS_AT_ONCE]))
        found += [Latest(*row) for row in connection.execute(wanted)]
    return sorted(found, key=lambda one: one.tray)


def latest_of(connection: Connection, tray: str) -> int | None:
    """Number of the newest reading of a tray."""
    newest_first = (READINGS.c.taken_at.desc().nulls_last(), READINGS.c.id.desc())
    wanted = select(READINGS.c.id).where(READINGS.c.tray == tray).order_by(*newest_first).limit(1)
    return connection.execute(wanted).scalar()


def history_of(connection: Connection, tray: str, *, most: int) -> list[Latest]:
    """The newest readings of a tray, one of each photo, newest first."""
    wanted = select(*_LATEST).where(READINGS.c.tray == tray)
    rows = connection.execute(wanted.order_by(READINGS.c.taken_at.desc().nulls_last(), READINGS.c.id.desc()))
    found: dict[str, Latest] = {}
    for row in rows:
        found.setdefault(row.photo_sha256, Latest(*row))
        if len(found) > most:
            break
    return list(found.values())[:most]


def reading_of(connection: Connection, number: int) -> Kept | None:
    """A reading with all its tables; None when there is none of this number."""
    joined = READINGS.join(PHOTOS, READINGS.c.photo_sha256 == PHOTOS.c.sha256)
    wanted = select(READINGS.c.photo_sha256, READINGS.c.tray, PHOTOS.c.path, READINGS.c.made_with).select_from(joined)
    row = connection.execute(wanted.where(READINGS.c.id == number)).first()
    if row is None:
        return None
    parts = {"cells": CELL_COLUMNS, "trays": TRAY_COLUMNS, "criteria": CRITERIA_COLUMNS, "remarks": REMARK_COLUMNS}
    tables = {name: read_numbers(connection, name, [number], columns) for name, columns in parts.items()}
    return Kept(number, row.photo_sha256, row.tray, row.path, row.made_with, **tables)


def newest_reading_of_photo(
    connection: Connection, photo_sha256: str, tray: str, *, made_with: str | None = None
) -> int | None:
    """Number of the newest reading that a photo gave of a tray, or of the one made with just these things."""
    wanted = select(READINGS.c.id).where(READINGS.c.photo_sha256 == photo_sha256, READINGS.c.tray == tray)
    if made_with is not None:
        wanted = wanted.where(READINGS.c.made_with == made_with)
    return connection.execute(wanted.order_by(READINGS.c.id.desc()).limit(1)).scalar()


@dataclass(frozen=True)
class CellNow:
    """A cell in few words.

    Attributes
    ----------
    cell : str
    row, col : int
    decision : str or None
    readiness, area_mm2 : float or None
    """

    cell: str
    row: int
    col: int
    decision: str | None
    readiness: float | None
    area_mm2: float | None


def cells_in_short(connection: Connection, numbers: Sequence[int]) -> dict[int, list[CellNow]]:
    """The cells of some readings, by reading, in reading order."""
    found: dict[int, list[CellNow]] = {number: [] for number in numbers}
    columns = [CELLS.c[name] for name in CellNow.__dataclass_fields__]
    for start in range(0, len(numbers), _KEYS_AT_ONCE):
        part = numbers[start : start + _KEYS_AT_ONCE]
        wanted = select(CELLS.c.reading_id, *columns).where(CELLS.c.reading_id.in_(part))
        for number, *values in connection.execute(wanted.order_by(CELLS.c.reading_id, CELLS.c.position)):
            found[number].append(CellNow(*values))
    return found
