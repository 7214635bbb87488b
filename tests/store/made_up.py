"""Readings made up by hand, with everything that is awkward to keep."""

from __future__ import annotations

import pandas as pd

from canopy.measure.columns import CELL_COLUMNS, TRAY_COLUMNS, as_table
from canopy.records import Reading, Remark
from canopy.records.text import TEXT_TYPE
from canopy.store.ledger import READ, Photo
from canopy.store.readings import Origin
from canopy.store.schema import CRITERIA

NAN = float("nan")
TAKEN_AT = "2026-03-20T05:30:00"
ODD_NAME = "räck/\udcff\\u0041 写真\n=1+1.jpg"
"""Not UTF-8, a backslash that looks like a mark of our own, another alphabet, a line break, a formula."""

_TYPES = {"boolean": "bool", "string": TEXT_TYPE}


def reading(photo: str = "a.jpg", tray: str = "T1", *, area: float = 0.1 + 0.2, cells: int = 2) -> Reading:
    names = [f"A{k}" for k in range(1, cells + 1)]
    shared = {"photo": [photo] * cells, "tray": [tray] * cells, "taken_at": [TAKEN_AT] * cells}
    table = as_table(
        {
            **shared,
            "row": [1] * cells,
            "col": range(1, cells + 1),
            "cell": names,
            "state": ["planted", "empty", *["planted"] * cells][:cells],
            "das": pd.array([12, pd.NA, *[5] * cells][:cells], dtype="Int64"),
            "area_mm2": [area, NAN, *[1e-300] * cells][:cells],
            "a_star": [-12.5] * cells,
            "reason": [pd.NA] * cells,
        },
        columns=CELL_COLUMNS,
    )
    trays = as_table(
        {"photo": [photo], "tray": [tray], "taken_at": [TAKEN_AT], "quality": ["good"],
         "cells": [cells], "planted": [1], "moran_p": [1 / 3], "ready": pd.array([pd.NA], dtype="Int64")},
        columns=TRAY_COLUMNS,
    )  # fmt: skip
    criteria = pd.DataFrame(
        [["A1", "size", area, "mm²", 0.5, 1.0, NAN, NAN, 0.25, 0.75, False],
         ["A1", "colour", NAN, "1", NAN, 0.0, NAN, NAN, NAN, NAN, True]][: min(cells, 2)],
        columns=list(CRITERIA),
    ).astype({name: _TYPES.get(dtype, dtype) for name, dtype in CRITERIA.items()})  # fmt: skip
    return Reading(photo, tray, table, trays, criteria, (Remark("dark", "mean 0.1"), Remark("coarse", "1 px", "A1")))


def photo(sha256: str = "ab" * 32, path: str = "a.jpg", **changes: object) -> Photo:
    known = {"size": 9_000_000_000, "mtime_ns": 1_774_000_000_123_456_789, "state": READ, "reason": None,
             "message": None, "tried_with": "w1"}  # fmt: skip
    return Photo(sha256, path, **{**known, **changes})


def origin(sha256: str = "ab" * 32, **changes: str) -> Origin:
    known = {"fingerprint": "f1", "version": "0.1.0", "made_with": "w1", "recorded_at": "2026-03-20T04:00:00+00:00"}
    return Origin(sha256, **{**known, **changes})
