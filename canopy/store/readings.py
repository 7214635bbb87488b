"""Readings in, whole; tables with the promised columns and types out, always in the same order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from sqlalchemy import Connection, Row, Select, Table, func, insert, select

from canopy.measure.columns import CELL_COLUMNS, TRAY_COLUMNS, Column, as_table
from canopy.records import Reading
from canopy.store.schema import CELLS, CRITERIA, CRITERIA_ROWS, LABELS, READINGS, REMARKS

_OWN_LABELS: tuple[Column, ...] = TRAY_COLUMNS[: len(LABELS)]
CRITERIA_COLUMNS: tuple[Column, ...] = (
    *_OWN_LABELS,
    *(Column(name, dtype, "", "See `canopy.readiness.criteria`.") for name, dtype in CRITERIA.items()),
)
REMARK_COLUMNS: tuple[Column, ...] = (
    *_OWN_LABELS,
    *(Column(name, "string", "", "See `canopy.records.Remark`.") for name in ("code", "text", "cell")),
)
TRACE_COLUMNS: tuple[Column, ...] = (
    *_OWN_LABELS[:2],
    Column("photo_sha256", "string", "", "SHA-256 of the photo's bytes."),
    Column("fingerprint", "string", "", "Checksum of all settings and recipes, as in run.json."),
    Column("version", "string", "", "Version of the tool."),
    Column("made_with", "string", "", "Checksum of settings, version and what the tray list said."),
    Column("recorded_at", "string", "", "When the reading was put into the store, UTC."),
)

TABLES: dict[str, tuple[Column, ...]] = {
    "cells": CELL_COLUMNS,
    "trays": TRAY_COLUMNS,
    "criteria": CRITERIA_COLUMNS,
    "remarks": REMARK_COLUMNS,
    "trace": TRACE_COLUMNS,
}
"""Columns of every table that `tables` gives."""

_PARTS: dict[str, Table] = {"cells": CELLS, "criteria": CRITERIA_ROWS, "remarks": REMARKS}
# SQLite takes no more than some 32,000 values in one statement.
_KEYS_AT_ONCE = 500


@dataclass(frozen=True)
class Origin:
    """What a reading rests on, so that any number can be traced and made again.

    Attributes
    ----------
    photo_sha256 : str
    fingerprint, version : str
        Checksum of the settings and recipes; version of the tool.
    made_with : str
        Checksum of both and of what the tray list said.
    recorded_at : str
        ISO 8601, UTC.
    """

    photo_sha256: str
    fingerprint: str
    version: str
    made_with: str
    recorded_at: str


def put_reading(connection: Connection, reading: Reading, origin: Origin) -> int:
    """Add a reading with its cells, criteria and remarks; seen by others when the transaction ends, or never.

    Returns
    -------
    int
        Its number in the store.
    """
    row = {**vars(origin), **_rows(reading.trays)[0], "photo": reading.photo, "tray": reading.tray}
    number: int = connection.execute(insert(READINGS).values(row).returning(READINGS.c.id)).scalar_one()
    remarks = [{"code": remark.code, "text": remark.text, "cell": remark.cell} for remark in reading.remarks]
    cells = reading.cells.drop(columns=list(LABELS))
    for table, rows in ((CELLS, _rows(cells)), (CRITERIA_ROWS, _rows(reading.criteria)), (REMARKS, remarks)):
        if rows:
            keyed = [{"reading_id": number, "position": place, **values} for place, values in enumerate(rows)]
            connection.execute(insert(table), keyed)
    return number


def trays_read(connection: Connection, photo_sha256: str) -> set[str]:
    """Ids of the trays of which a photo has given a reading."""
    found = connection.execute(select(READINGS.c.tray).where(READINGS.c.photo_sha256 == photo_sha256))
    return {row.tray for row in found}


def table(connection: Connection, name: str, *, tray: str | None = None) -> pd.DataFrame:
    """One of `TABLES` whole; see `tables`."""
    parts = list(tables(connection, name, tray=tray, at_once=_KEYS_AT_ONCE))
    return pd.concat(parts, ignore_index=True) if len(parts) > 1 else parts[0]


def tables(connection: Connection, name: str, *, tray: str | None = None, at_once: int) -> Iterator[pd.DataFrame]:
    """One of `TABLES` in parts, for more readings than memory holds.

    Only the newest reading of each photo and tray counts; readings are in the order of photo, tray and content, so that
    equal stores give equal tables whatever was put in first.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    name : str
        A key of `TABLES`.
    tray : str, optional
        Only the readings of this tray.
    at_once : int
        Readings in one part.

    Yields
    ------
    pandas.DataFrame
        At least one, with no rows where there are none.
    """
    columns = TABLES[name]
    numbers = list(connection.execute(_newest(tray)).scalars())
    for start in range(0, max(len(numbers), 1), at_once):
        keys = numbers[start : start + at_once]
        yield read_numbers(connection, name, keys, columns)


def read_numbers(connection: Connection, name: str, numbers: Sequence[int], columns: Sequence[Column]) -> pd.DataFrame:
    """One of `TABLES` for the readings of these numbers, in their order."""
    return _typed(_fetch(connection, name, numbers, [column.name for column in columns]), columns)


def _newest(tray: str | None) -> Select[int]:
    newest = select(func.max(READINGS.c.id)).group_by(READINGS.c.photo_sha256, READINGS.c.tray)
    wanted = select(READINGS.c.id).where(READINGS.c.id.in_(newest))
    if tray is not None:
        wanted = wanted.where(READINGS.c.tray == tray)
    return wanted.order_by(READINGS.c.photo, READINGS.c.tray, READINGS.c.photo_sha256)


def _fetch(connection: Connection, name: str, numbers: Sequence[int], columns: Sequence[str]) -> list[Row[Any]]:
    """Rows of the readings of these numbers, in the order of the numbers."""
    rows: list[Row[Any]] = []
    for start in range(0, len(numbers), _KEYS_AT_ONCE):
        keys = numbers[start : start + _KEYS_AT_ONCE]
        rows += _in_order(connection.execute(_statement(name, keys, columns)), keys)
    return rows


def _statement(name: str, keys: Sequence[int], columns: Sequence[str]) -> Select[Any]:
    part = _PARTS.get(name)
    if part is None:
        return select(READINGS.c.id, *(READINGS.c[column] for column in columns)).where(READINGS.c.id.in_(keys))
    named = [READINGS.c[column] if column in LABELS else part.c[column] for column in columns]
    joined = part.join(READINGS, part.c.reading_id == READINGS.c.id)
    of_keys = select(READINGS.c.id, *named).select_from(joined).where(part.c.reading_id.in_(keys))
    return of_keys.order_by(part.c.reading_id, part.c.position)


def _in_order(found: Any, keys: Sequence[int]) -> list[Row[Any]]:
    by_key: dict[int, list[Row[Any]]] = {key: [] for key in keys}
    for row in found:
        by_key[row[0]].append(row)
    return [row for rows in by_key.values() for row in rows]


def _typed(rows: Sequence[Row[Any]], columns: Sequence[Column]) -> pd.DataFrame:
    """A table of rows that start with their reading's number; missing values as the columns' types have them."""
    values = list(zip(*rows, strict=True))[1:] if rows else [()] * len(columns)
    return as_table(
        {column.name: [_given(v, column) for v in of] for column, of in zip(columns, values, strict=True)},
        columns=columns,
    )


def _given(value: Any, column: Column) -> Any:
    if value is not None:
        return value
    return float("nan") if column.dtype == "float64" else pd.NA


def _rows(frame: pd.DataFrame) -> list[Mapping[str, Any]]:
    """Rows as plain Python values, None where one is missing."""
    columns = [
        [None if missing else value for value, missing in zip(frame[name].tolist(), frame[name].isna(), strict=True)]
        for name in frame.columns
    ]
    return [dict(zip(frame.columns, row, strict=True)) for row in zip(*columns, strict=True)]
