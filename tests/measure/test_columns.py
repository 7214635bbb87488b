from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from canopy.measure.columns import (
    CELL_COLUMNS,
    CONTRACT_CELL_COLUMNS,
    CONTRACT_TRAY_COLUMNS,
    TRAY_COLUMNS,
    as_table,
)
from canopy.records.text import TEXT_TYPE

# The order that other programs read.
CELLS = [
    "photo", "tray", "taken_at", "row", "col", "cell", "state",
    "das", "area_mm2", "area_low_mm2", "area_high_mm2", "cover", "weight_g", "weight_low_g",
    "weight_high_g", "exg", "ngrdi", "gli", "dgci", "hue_deg", "yellow_fraction",
    "brown_fraction", "readiness", "readiness_low", "readiness_high", "decision", "limiting", "reason",
]  # fmt: skip
TRAYS = [
    "photo", "tray", "taken_at", "quality", "quality_reason", "located_by", "mm_per_px",
    "tilt_deg", "cells", "planted", "emergence", "cover", "mean_area_mm2", "cv_area",
    "cu", "du_lq", "gini", "moran_i", "moran_p", "edge_effect", "evenness",
    "pattern", "ready", "ready_on", "decision",
]  # fmt: skip


def test_contract_order():
    assert list(CONTRACT_CELL_COLUMNS) == CELLS
    assert list(CONTRACT_TRAY_COLUMNS) == TRAYS


@pytest.mark.parametrize("columns", [CELL_COLUMNS, TRAY_COLUMNS])
def test_every_column_explains_itself(columns):
    names = [column.name for column in columns]
    assert len(set(names)) == len(names)
    for column in columns:
        assert column.description.endswith(".")
        assert column.dtype in {"string", "float64", "int64", "Int64"}
        for suffix, unit in (("_mm2", "mm²"), ("_mm", "mm"), ("_deg", "°"), ("_g", "g")):
            if column.name.endswith(suffix):
                assert column.unit == unit


def test_table_of_no_rows_has_all_columns_and_types():
    table = as_table({}, columns=CELL_COLUMNS)
    assert list(table.columns) == [column.name for column in CELL_COLUMNS]
    assert [str(dtype) for dtype in table.dtypes] == [column.dtype for column in CELL_COLUMNS]


def test_absent_is_missing_never_zero():
    whole = {"row": [1, 1], "col": [1, 2]}
    table = as_table({**whole, "cell": ["A1", "A2"], "das": [7, pd.NA], "exg": [0.5, np.nan]}, columns=CELL_COLUMNS)
    given = {"row", "col", "cell", "das", "exg"}
    assert table.drop(columns=list(given)).isna().all(axis=None)
    assert table["das"].isna().tolist() == [False, True]
    assert [str(dtype) for dtype in table.dtypes] == [column.dtype for column in CELL_COLUMNS]


def test_unknown_column():
    with pytest.raises(ValueError, match="no column colour"):
        as_table({"colour": [1]}, columns=CELL_COLUMNS)


def test_whole_numbers_cannot_be_missing():
    with pytest.raises(ValueError, match="column row must be given"):
        as_table({"cell": ["A1"]}, columns=CELL_COLUMNS)


def test_columns_of_unequal_length():
    with pytest.raises(ValueError, match="unequal length"):
        as_table({"row": [1, 1], "col": [1, 2], "cell": ["A1"]}, columns=CELL_COLUMNS)


def test_text_is_of_one_type_whatever_is_installed():
    # Where pyarrow is installed, pandas' own "string" holds no file name that is not UTF-8.
    name = b"\xff.jpg".decode("utf-8", "surrogateescape")
    table = as_table({"photo": [name], "row": [1], "col": [1]}, columns=CELL_COLUMNS)
    assert table["photo"].tolist() == [name]
    assert table["photo"].dtype == TEXT_TYPE
    sources = (Path(__file__).parent.parent.parent / "canopy").rglob("*.py")
    assert [path.name for path in sources if 'dtype="string"' in path.read_text(encoding="utf-8")] == []
