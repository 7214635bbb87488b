"""Tables as people type them, CSV or XLSX: every row with its line, so that what is wrong can be named."""

from __future__ import annotations

import csv
import re
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zipfile import BadZipFile

import pandas as pd

from canopy.batch.text_file import read_text
from canopy.errors import UsageError
from canopy.growth import Complaint
from canopy.growth.checks import LINE

ENDINGS = (".csv", ".xlsx")
COMMENT = "#"
_DELIMITERS = (";", "\t", ",")
_SERIAL = re.compile(r"[1-9]\d{4}(?:\.0)?")
_SPREADSHEET_EPOCH = pd.Timestamp("1899-12-30")
"""Day 0 of spreadsheets' day counts (true for all days after February 1900)."""


@dataclass(frozen=True)
class Typed:
    """A table as it was typed.

    Attributes
    ----------
    path : pathlib.Path or None
        None: there is no such file.
    table : pandas.DataFrame
        Columns by their names in small letters, and `line`; text as it stands, numbers and dates of a sheet as such.
    complaints : tuple of Complaint
        Lines that do not fit their heading.
    """

    path: Path | None
    table: pd.DataFrame
    complaints: tuple[Complaint, ...] = ()


def find_typed(folder: Path, stem: str, *, days: Iterable[str] = ()) -> Typed | None:
    """The table of this name in a folder, `stem.csv` or `stem.xlsx`; None when it is not there.

    Raises
    ------
    UsageError
        Both are there, or it cannot be read.
    """
    there = [folder / f"{stem}{ending}" for ending in ENDINGS if (folder / f"{stem}{ending}").is_file()]
    if len(there) > 1:
        raise UsageError(f"{there[0]} and {there[1].name}: two tables of one name; keep one of them")
    return read_typed(there[0], days=days) if there else None


def read_typed(path: Path, *, days: Iterable[str] = ()) -> Typed:
    """Read one table.

    Parameters
    ----------
    path : pathlib.Path
        `.csv` (comma, semicolon or tab, found in the heading; lines that start with # are passed over) or `.xlsx`
        (the first sheet).
    days : iterable of str
        Columns of dates: a spreadsheet's day count in them becomes its date.

    Raises
    ------
    UsageError
        The file cannot be read, has no heading, or a column stands twice.
    """
    readers = {".csv": _csv_rows, ".xlsx": _xlsx_rows}
    reader = readers.get(path.suffix.lower())
    if reader is None:
        raise UsageError(f"{path}: ends in `{path.suffix}`; give a table as {' or '.join(ENDINGS)}")
    rows = [(line, row) for line, row in reader(path) if any(value not in (None, "") for value in row)]
    if not rows:
        raise UsageError(f"{path}: is empty; the first line names the columns")
    heading = [str(name or "").strip().casefold() for name in rows[0][1]]
    while heading and not heading[-1]:
        heading.pop()
    twice = sorted({name for name in heading if name and heading.count(name) > 1})
    if twice:
        raise UsageError(f"{path}: column `{twice[0]}` stands twice; keep one of them")
    kept, complaints = _fitting(rows[1:], heading, name=path.name)
    columns = {
        name: pd.Series([row[k] if k < len(row) else None for _, row in kept], dtype="object")
        for k, name in enumerate(heading)
        if name
    }
    for name in set(days) & set(columns):
        columns[name] = columns[name].map(_as_day)
    return Typed(path, pd.DataFrame({**columns, LINE: [line for line, _ in kept]}), complaints)


def _fitting(
    rows: Sequence[tuple[int, list[object]]], heading: Sequence[str], *, name: str
) -> tuple[list[tuple[int, list[object]]], tuple[Complaint, ...]]:
    """Rows that have no more fields than the heading; a decimal comma in a table parted by commas makes one more."""
    kept, complaints = [], []
    for line, row in rows:
        if any(value not in (None, "") for value in row[len(heading) :]):
            text = f"{len(row)} fields under {len(heading)} columns; put fields that hold a comma in quotes"
            complaints.append(Complaint(name, line, heading[-1], text))
        else:
            kept.append((line, row))
    return kept, tuple(complaints)


def _csv_rows(path: Path) -> list[tuple[int, list[object]]]:
    lines = read_text(path).splitlines()
    first = next((line for line in lines if line.strip() and not line.startswith(COMMENT)), "")
    delimiter = max(_DELIMITERS, key=first.count)
    rows: list[tuple[int, list[object]]] = []
    for number, line in enumerate(lines, start=1):
        if not line.startswith(COMMENT):
            rows.append((number, [field.strip() for field in next(csv.reader([line], delimiter=delimiter), [])]))
    return rows


def _xlsx_rows(path: Path) -> list[tuple[int, list[object]]]:
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and validations that are nothing to us
            book = load_workbook(path, read_only=True, data_only=True)
    except FileNotFoundError:
        raise UsageError(f"{path}: no such file; check the path") from None
    except (BadZipFile, KeyError, ValueError, OSError, InvalidFileException):
        raise UsageError(f"{path}: cannot be read as a workbook; save it again as .xlsx or .csv") from None
    try:
        sheet = book.worksheets[0]
        rows = enumerate(sheet.iter_rows(values_only=True), start=1)
        return [(number, [_cell(value) for value in row]) for number, row in rows]
    finally:
        book.close()


def _cell(value: object) -> object:
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, datetime) and (value.hour, value.minute, value.second) == (0, 0, 0):
        return value.date().isoformat()
    # A sheet keeps 12 as 12.0: names of trays must not change by that.
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _as_day(value: object) -> object:
    text = str(value).strip() if isinstance(value, (str, int, float)) and not isinstance(value, bool) else ""
    if not _SERIAL.fullmatch(text):
        return value
    return (_SPREADSHEET_EPOCH + pd.Timedelta(days=float(text))).date().isoformat()
