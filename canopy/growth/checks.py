"""Tables as they come: every line that makes no sense is named with its column, the other lines go on."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from canopy.errors import UsageError, did_you_mean
from canopy.records.text import TEXT_TYPE

LINE = "line"
"""Optional column with the line of the file a row came from; without it rows count from 2, below a heading."""


_COMMA = re.compile(r"[-+]?\d+,\d+")
_THOUSAND = re.compile(r"[-+]?[1-9]\d{0,2},\d{3}")
"""One comma and three digits: 1,250 is 1.25 where a comma parts decimals, and 1250 where it parts thousands."""
_DAY_MONTH = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})")


@dataclass(frozen=True)
class Complaint:
    """One value that could not be used.

    Attributes
    ----------
    table : str
        Such as `weigh-ins`.
    line : int or None
        Line of the table, counted from 1 with the heading as line 1; None for the table as a whole.
    column : str
    text : str
        What is wrong and how to mend it.
    """

    table: str
    line: int | None
    column: str
    text: str

    def __str__(self) -> str:
        """One line for people."""
        where = self.table if self.line is None else f"{self.table} line {self.line}"
        return f"{where}, column `{self.column}`: {self.text}"


class Check:
    """Goes through a table column by column; rows once marked bad are not complained of again."""

    def __init__(self, table: pd.DataFrame, *, name: str, columns: Sequence[str]) -> None:
        """Take a copy of the table; UsageError when a column is missing."""
        for column in columns:
            if column not in table.columns:
                hint = did_you_mean(column, map(str, table.columns), before=" (", after=")")
                have = ", ".join(map(str, table.columns)) or "none"
                raise UsageError(f"{name}: column `{column}` is missing{hint}; it has: {have}")
        self.table = table.reset_index(drop=True).copy()
        self.name = name
        self.lines = self.table[LINE].astype(int).to_numpy() if LINE in self.table else np.arange(len(self.table)) + 2
        self.good = np.ones(len(self.table), dtype=bool)
        self.complaints: list[Complaint] = []

    def refuse(
        self, bad: Iterable[bool], column: str, text: str, *, shown: Sequence[object] | pd.Series | None = None
    ) -> None:
        """Mark rows bad, once each; `{value}` in the text becomes the value of the column, or that of `shown`."""
        rows = np.asarray(list(bad), dtype=bool) & self.good
        values = list(self.table[column] if shown is None else shown)
        for i in np.flatnonzero(rows):
            said = text.replace("{value}", str(values[i]))
            self.complaints.append(Complaint(self.name, int(self.lines[i]), column, said))
        self.good &= ~rows

    def number(self, column: str, *, above: float = -np.inf, least: float = -np.inf, most: float = np.inf) -> None:
        """Turn a column into numbers, decimal commas too; text, missing and impossible values are refused."""
        typed = [value.strip() if isinstance(value, str) else value for value in self.table[column]]
        unclear = [isinstance(value, str) and _THOUSAND.fullmatch(value) is not None for value in typed]
        self.refuse(
            unclear, column, "`{value}` can mean two numbers; write it with a point, or without a thousands mark"
        )
        plain = [v.replace(",", ".") if isinstance(v, str) and _COMMA.fullmatch(v) else v for v in typed]
        values = pd.to_numeric(pd.Series(plain, dtype="object"), errors="coerce").to_numpy(dtype=float, na_value=np.nan)
        self.refuse(~np.isfinite(values), column, "`{value}` is not a number; write it like 12.5")
        with np.errstate(invalid="ignore"):
            self.refuse(values <= above, column, f"{{value}} is not above {above:g}; correct it")
            self.refuse(values < least, column, f"{{value}} is below {least:g}; correct it")
            self.refuse(values > most, column, f"{{value}} is above {most:g}; correct it")
        self.table[column] = values

    def day(self, column: str) -> None:
        """Turn a column into days (midnight, without zone); what is no date is refused."""
        typed = self.table[column]
        days = pd.Series([_day(value) for value in typed], index=typed.index, dtype="datetime64[ns]")
        self.refuse(days.isna(), column, "`{value}` is not a date; write it like 2026-05-14 or 14.05.2026")
        self.table[column] = days

    def known(self, column: str, names: Iterable[str], *, what: str) -> None:
        """Refuse names that nobody knows."""
        known = sorted(set(names))
        values = self.table[column].astype(TEXT_TYPE).str.strip().fillna("")
        for value in values[~values.isin(known) & self.good].unique():
            hint = did_you_mean(value, known, before="; ")
            self.refuse(values == value, column, f"no {what} is called `{value}`{hint or '; correct the name'}")
        self.table[column] = values

    def once(self, columns: Sequence[str]) -> None:
        """Refuse lines that repeat an earlier good line in these columns."""
        seen: dict[tuple[object, ...], int] = {}
        repeated = np.zeros(len(self.table), dtype=bool)
        for i, key in enumerate(self.table[list(columns)].itertuples(index=False, name=None)):
            if not self.good[i]:
                continue
            repeated[i] = key in seen
            if repeated[i]:
                text = f"repeats line {seen[key]} (same {', '.join(columns)}); only that one is used"
                self.complaints.append(Complaint(self.name, int(self.lines[i]), columns[-1], text))
            seen.setdefault(key, int(self.lines[i]))
        self.good &= ~repeated

    def result(self) -> tuple[pd.DataFrame, tuple[Complaint, ...]]:
        """The good rows, and the complaints by line."""
        said = sorted(self.complaints, key=lambda c: (c.line or 0, c.column))
        return self.table[self.good].reset_index(drop=True), tuple(said)


def check_temperatures(table: pd.DataFrame) -> tuple[pd.DataFrame, tuple[Complaint, ...]]:
    """Temperatures by day: `date`, `low_c`, `high_c`, sorted by date; bad lines are said and left out."""
    check = Check(table, name="temperatures", columns=("date", "low_c", "high_c"))
    check.day("date")
    # Colder or hotter than any house with living plants: a thermometer in °F, or a sensor's error code.
    check.number("low_c", least=-30.0, most=60.0)
    check.number("high_c", least=-30.0, most=60.0)
    low, high = (check.table[name].to_numpy(float) for name in ("low_c", "high_c"))
    check.refuse(np.greater(low, high), "low_c", "{value} is above `high_c`; swap them")
    check.once(("date",))
    good, complaints = check.result()
    return good.sort_values("date", ignore_index=True), complaints


def _day(value: object) -> object:
    """A day, or NaT; a bare number is no date (a spreadsheet's day count must be read as a date by who reads it)."""
    if value is None or isinstance(value, (bool, int, float, np.number)):
        return pd.NaT
    text = str(value).strip()
    if found := _DAY_MONTH.fullmatch(text):  # points are written where the day comes first; strokes are read both ways
        text = f"{found[3]}-{int(found[2]):02}-{int(found[1]):02}"
    moment = pd.to_datetime(text, errors="coerce", format="ISO8601")
    if pd.isna(moment):
        return moment
    return pd.Timestamp(moment).tz_localize(None).normalize()
