"""What people record of cells and harvests: only ever added to, which the database itself sees to."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import pandas as pd
from sqlalchemy import Connection, Table, insert, select

from canopy.measure.columns import CELL_COLUMNS, Column, as_table
from canopy.store.schema import CORRECTIONS, HARVESTS


@dataclass(frozen=True)
class Correction:
    """A person's word against a reading's; the reading itself stays as it is.

    Attributes
    ----------
    recorded_at, by : str
        When, ISO 8601 in UTC, and who.
    photo_sha256, tray, cell : str
        What it is about; `cell` empty: the whole tray.
    column : str
        Name of the column that is wrong.
    value : str or None
        What it should say, as in the table's CSV; None: missing.
    note : str
    """

    recorded_at: str
    by: str
    photo_sha256: str
    tray: str
    cell: str
    column: str
    value: str | None
    note: str = ""


@dataclass(frozen=True)
class Harvest:
    """What was cut of a tray or a cell.

    Attributes
    ----------
    recorded_at, by : str
        When it was written down, ISO 8601 in UTC, and by whom.
    tray, cell : str
        `cell` empty: the whole tray.
    harvested_on : str
        Day, ISO 8601.
    heads : int or None
    weight_g : float or None
        Fresh weight of all of it.
    note : str
    """

    recorded_at: str
    by: str
    tray: str
    cell: str
    harvested_on: str
    heads: int | None = None
    weight_g: float | None = None
    note: str = ""


def _texts(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, "string", "", "") for name in names)


CORRECTION_COLUMNS = _texts("recorded_at", "by", "photo_sha256", "tray", "cell", "column", "value", "note")
HARVEST_COLUMNS = (
    *_texts("recorded_at", "by", "tray", "cell", "harvested_on"),
    Column("heads", "Int64", "", "Heads cut."),
    next(column for column in CELL_COLUMNS if column.name == "weight_g"),
    *_texts("note"),
)


def add_correction(connection: Connection, correction: Correction) -> None:
    """Add a correction; a later one of the same cell and column counts instead of it, and both stay."""
    connection.execute(insert(CORRECTIONS).values(asdict(correction)))


def add_harvest(connection: Connection, harvest: Harvest) -> None:
    """Add a harvest record."""
    connection.execute(insert(HARVESTS).values(asdict(harvest)))


def corrections(connection: Connection) -> pd.DataFrame:
    """All corrections in the order they were made."""
    return _table(connection, CORRECTIONS, CORRECTION_COLUMNS)


def harvests(connection: Connection) -> pd.DataFrame:
    """All harvest records in the order they were made."""
    return _table(connection, HARVESTS, HARVEST_COLUMNS)


def harvests_of(connection: Connection, tray: str, *, most: int = 200) -> list[Harvest]:
    """The last harvest records of a tray, newest first."""
    columns = [HARVESTS.c[name] for name in Harvest.__dataclass_fields__]
    wanted = select(*columns).where(HARVESTS.c.tray == tray).order_by(HARVESTS.c.id.desc()).limit(most)
    return [Harvest(*row) for row in connection.execute(wanted)]


def _table(connection: Connection, table: Table, columns: tuple[Column, ...]) -> pd.DataFrame:
    wanted = select(*(table.c[column.name] for column in columns)).order_by(table.c.id)
    rows = connection.execute(wanted).all()
    missing = {"float64": float("nan")}
    values = zip(*rows, strict=True) if rows else [()] * len(columns)
    return as_table(
        {
            column.name: [missing.get(column.dtype, pd.NA) if value is None else value for value in of]
            for column, of in zip(columns, values, strict=True)
        },
        columns=columns,
    )
