"""Tables of this room to files, to JSON, and to the screen."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from canopy.errors import UsageError
from canopy.measure.columns import Column
from canopy.outputs.export import write_table
from canopy.outputs.tables import field_text
from canopy.settings.outputs import OutputSettings

_SHOWN_DIGITS = 3


def write_tables(
    tables: Mapping[str, pd.DataFrame],
    out: Path,
    *,
    settings: OutputSettings,
    columns: Mapping[str, Sequence[Column]],
) -> list[Path]:
    """Write each table as `<name>.csv` into a folder, which is made when absent.

    Raises
    ------
    UsageError
        The folder or a file cannot be written.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"{out}: cannot be made ({error.strerror}); choose another --out") from None
    paths = [out / f"{name}.csv" for name in tables]
    for path, (name, table) in zip(paths, tables.items(), strict=True):
        write_table(path, [table], columns=columns[name], significant_digits=settings.significant_digits)
    return paths


def as_records(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows for JSON; what is missing or infinite is null."""
    columns = {name: [_plain(value) for value in table[name].tolist()] for name in table.columns}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def shown_rows(table: pd.DataFrame) -> list[list[str]]:
    """Heading and rows of a table as they are shown; nothing for one without rows."""
    if not len(table):
        return []
    rows = [[field_text(value, _SHOWN_DIGITS) for value in row] for row in table.itertuples(index=False, name=None)]
    return [list(table.columns), *rows]


def _plain(value: Any) -> Any:
    if value is pd.NA or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return value
