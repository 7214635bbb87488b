"""Tables to CSV text, always the same bytes for the same numbers."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from datetime import date, datetime
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
import pandas as pd

LINE_END = "\n"


def header_line(columns: Sequence[str]) -> str:
    """First line of a table: the column names."""
    return _csv_text([columns])


def table_lines(table: pd.DataFrame, *, significant_digits: int) -> str:
    """Rows of a table as CSV text, without the header.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns in the order they are to be written.
    significant_digits : int
        Of decimal numbers; whole-number columns are written in full.

    Returns
    -------
    str
        One line per row, each ended by a line feed; empty for a table without rows. Missing values are empty fields,
        times are ISO 8601 to the second, truth values are `yes` and `no`.
    """
    columns = [[field_text(value, significant_digits) for value in table[name].tolist()] for name in table.columns]
    return _csv_text(list(zip(*columns, strict=True)))


def field_text(value: object, significant_digits: int) -> str:
    """One value as it stands in a table; empty for None, NaN, NaT and NA, plain decimals without an exponent."""
    if isinstance(value, (float, np.floating)):
        return _decimal_text(float(value), significant_digits)
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if value is None or value is pd.NA or value is pd.NaT:
        return ""
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, date):
        return value.isoformat()
    return str(value)


def _decimal_text(value: float, significant_digits: int) -> str:
    if not math.isfinite(value):
        return ""
    if value == 0:
        return "0"  # also for minus zero, which means nothing in a table
    shown = Decimal(repr(value))
    last_place = shown.adjusted() - significant_digits + 1
    # Digits before the decimal point are kept: 123456 is never written as 123460.
    rounded = shown.quantize(Decimal(1).scaleb(min(last_place, 0)), rounding=ROUND_HALF_EVEN)
    text = f"{rounded:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def _csv_text(rows: Sequence[Sequence[str]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator=LINE_END).writerows(rows)
    written = text.getvalue()
    return "".join(_careful_line(row) for row in rows) if "\r" in written else written


def _careful_line(row: Sequence[str]) -> str:
    """One line in which a carriage return stands in quotes, too; the writer sees to it only where it may end lines."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerow(row)
    return text.getvalue().removesuffix("\r\n") + LINE_END
