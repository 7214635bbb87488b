"""Tables to one file, part by part: CSV and XLSX that no spreadsheet takes for formulas, or Parquet as it is."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

import pandas as pd

from canopy.errors import UsageError
from canopy.measure.columns import Column
from canopy.outputs.tables import header_line, table_lines
from canopy.records.text import TEXT_TYPE

# What a spreadsheet may take for the beginning of a formula; the apostrophe before it makes it text.
_FORMULA = re.compile(r"[=+\-@\t\r]")
_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_NO_UTF8 = re.compile("[\ud800-\udfff]")
_UNKNOWN = "\ufffd"
XLSX_ROWS_MAX = 1_048_576
"""Rows of a sheet, its header included (the file format's own limit)."""

_PART = ".part"
_SHEET_NAME_MAX = 31  # the file format's own limit
_CORE = "docProps/core.xml"
_HOUR = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*(<)")


def harmless(text: str) -> str:
    """Text that a spreadsheet shows and never runs: an apostrophe is put before a leading `=`, `+`, `-`, `@` or tab."""
    return f"'{text}" if _FORMULA.match(text) else text


def write_table(
    path: Path, parts: Iterable[pd.DataFrame], *, columns: Sequence[Column], significant_digits: int
) -> int:
    """Write a table in the format that the file's ending names; the file gets its name only when it is whole.

    Parameters
    ----------
    path : pathlib.Path
        Ending in `.csv`, `.parquet` or `.xlsx`.
    parts : iterable of pandas.DataFrame
        All with these columns.
    columns : sequence of Column
    significant_digits : int
        Of decimal numbers in CSV; the other two keep numbers in full.

    Returns
    -------
    int
        Rows written.

    Raises
    ------
    UsageError
        The ending is another, the file cannot be written, the rows do not fit a sheet, or Parquet is not installed.
    """
    writers: dict[str, Callable[[Path], int]] = {
        ".csv": lambda part: _write_csv(part, parts, columns, significant_digits),
        ".parquet": lambda part: _write_parquet(part, parts, columns),
        ".xlsx": lambda part: _write_xlsx(part, parts, columns),
    }
    writer = writers.get(path.suffix.lower())
    if writer is None:
        raise UsageError(f"{path}: ends in `{path.suffix}`; give a name that ends in {', '.join(writers)}")
    part = path.with_name(path.name + _PART)
    try:
        rows = writer(part)
        part.replace(path)
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}); make room or choose another place") from None
    finally:
        part.unlink(missing_ok=True)
    return rows


def _text_columns(columns: Sequence[Column]) -> list[str]:
    return [column.name for column in columns if column.dtype == "string"]


def _changed(part: pd.DataFrame, names: Sequence[str], change: Callable[[str], str]) -> pd.DataFrame:
    """The table with a change made to every text."""
    texts = {name: [value if pd.isna(value) else change(value) for value in part[name].tolist()] for name in names}
    return part.assign(**{name: pd.array(values, dtype=TEXT_TYPE) for name, values in texts.items()})


def _write_csv(path: Path, parts: Iterable[pd.DataFrame], columns: Sequence[Column], significant_digits: int) -> int:
    texts, rows = _text_columns(columns), 0
    with path.open("w", encoding="utf-8", errors="surrogateescape", newline="") as file:
        file.write(header_line([column.name for column in columns]))
        for part in parts:
            lines = table_lines(_changed(part, texts, harmless), significant_digits=significant_digits)
            file.write(lines)
            rows += len(part)
    return rows


def _write_parquet(path: Path, parts: Iterable[pd.DataFrame], columns: Sequence[Column]) -> int:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ModuleNotFoundError:
        message = f"{path.name.removesuffix(_PART)}: needs pyarrow; install canopy with its extra `parquet`"
        raise UsageError(message) from None
    kinds = {"string": pa.string(), "float64": pa.float64(), "int64": pa.int64(), "Int64": pa.int64(),
             "boolean": pa.bool_()}  # fmt: skip
    schema = pa.schema([(column.name, kinds[column.dtype]) for column in columns])
    texts, rows = _text_columns(columns), 0
    with pq.ParquetWriter(path, schema) as writer:
        for part in parts:
            whole = _changed(part, texts, lambda text: _NO_UTF8.sub(_UNKNOWN, text))
            # A missing number is a null here, as in every other column.
            arrays = [pa.array(whole[f.name].to_list(), type=f.type, from_pandas=True) for f in schema]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))
            rows += len(part)
    return rows


def _write_xlsx(path: Path, parts: Iterable[pd.DataFrame], columns: Sequence[Column]) -> int:
    from openpyxl import Workbook

    name = path.name.removesuffix(_PART)
    book = Workbook(write_only=True)
    sheet = book.create_sheet(name.removesuffix(".xlsx")[:_SHEET_NAME_MAX])
    try:
        rows = _fill(sheet, parts, columns, name=name)
    except BaseException:
        book.save(io.BytesIO())  # rows lie in a temporary file until they are saved somewhere
        raise
    book.save(path)
    _without_the_hour(path)
    return rows


def _fill(sheet: Any, parts: Iterable[pd.DataFrame], columns: Sequence[Column], *, name: str) -> int:
    """Append header and rows to a sheet; their number comes back."""
    from openpyxl.cell import WriteOnlyCell

    def cell(value: Any) -> Any:
        if isinstance(value, str):
            made = WriteOnlyCell(sheet, _NOT_IN_XML.sub(_UNKNOWN, harmless(value)))
            made.data_type = "s"
            return made
        return None if pd.isna(value) else value

    sheet.append([column.name for column in columns])
    rows = 0
    for part in parts:
        rows += len(part)
        if rows >= XLSX_ROWS_MAX:
            raise UsageError(f"{name}: over {XLSX_ROWS_MAX - 1} rows; export .csv or .parquet")
        for row in zip(*(part[column.name].tolist() for column in columns), strict=True):
            sheet.append([cell(value) for value in row])
    return rows


def _without_the_hour(path: Path) -> None:
    """Take out of a workbook when it was written, so that equal tables are equal files."""
    again = path.with_name(path.name + "2")
    try:
        with ZipFile(path) as old, ZipFile(again, "w", ZIP_DEFLATED) as new:
            for name in old.namelist():
                data = _HOUR.sub(rb"\g<1>1980-01-01T00:00:00Z\2", old.read(name)) if name == _CORE else old.read(name)
                new.writestr(ZipInfo(name), data, ZIP_DEFLATED)
        again.replace(path)
    finally:
        again.unlink(missing_ok=True)
