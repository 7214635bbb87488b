"""What people and sensors measure: any column, by tray or cell and day, checked value by value."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from canopy.growth.checks import LINE, Check, Complaint
from canopy.growth.events import refuse_before_sowing, refuse_unknown_cells
from canopy.records import TrayRecord
from canopy.records.text import TEXT_TYPE, Dtypes

MEASURED_COLUMNS = ("tray", "date")
_WORDS = ("cell", "note", "by", LINE)
MEASURED_DTYPES: Dtypes = {
    "tray": TEXT_TYPE, "cell": TEXT_TYPE, "date": "datetime64[ns]", "name": TEXT_TYPE, "value": "float64",
}  # fmt: skip


def check_measured(
    table: pd.DataFrame, *, trays: Mapping[str, TrayRecord]
) -> tuple[pd.DataFrame, tuple[Complaint, ...]]:
    """Check measurements; a bad value is named and the others of its line go on.

    Parameters
    ----------
    table : pandas.DataFrame
        `tray`, `date`, optionally `cell` (empty or `whole tray`: of all), `note`, `by`; every other column is a
        measurement: root_score, pull_n, brix, ec, ph, …, an empty field where it was not made.
    trays : mapping of tray id to TrayRecord

    Returns
    -------
    measured : pandas.DataFrame
        `MEASURED_DTYPES`: one row a value.
    complaints : tuple of Complaint
    """
    filled = table if "cell" in table else table.assign(cell=None)
    check = Check(filled, name="measured", columns=MEASURED_COLUMNS)
    check.known("tray", trays, what="tray")
    check.day("date")
    refuse_unknown_cells(check, trays)
    refuse_before_sowing(check, trays)
    check.table[LINE] = check.lines
    rows, complaints = check.result()
    parts, found = [], list(complaints)
    for name in [column for column in rows.columns if column not in (*MEASURED_COLUMNS, *_WORDS)]:
        given = rows[rows[name].map(_given)]
        one = Check(given, name="measured", columns=(name,))
        one.number(name)
        one.once(("tray", "cell", "date"))
        good, wrong = one.result()
        found += wrong
        parts.append(good[["tray", "cell", "date"]].assign(name=name, value=good[name].astype("float64")))
    whole = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=list(MEASURED_DTYPES))
    said = sorted(found, key=lambda complaint: (complaint.line or 0, complaint.column))
    return whole[list(MEASURED_DTYPES)].astype(MEASURED_DTYPES), tuple(said)


def _given(value: object) -> bool:
    return not (value is None or value is pd.NA or value != value or (isinstance(value, str) and not value.strip()))
