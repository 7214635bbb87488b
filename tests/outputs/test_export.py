"""Tables to files: formulas made harmless, numbers and gaps as they were, a file whole or not there."""

from __future__ import annotations

import csv
import time

import openpyxl
import pandas as pd
import pyarrow.parquet as pq
import pytest

from canopy.errors import UsageError
from canopy.measure.columns import Column, as_table
from canopy.outputs import export
from canopy.outputs.export import harmless, write_table

COLUMNS = (
    Column("tray", "string", "", ""), Column("area_mm2", "float64", "mm²", ""), Column("row", "int64", "", ""),
    Column("das", "Int64", "d", ""),
)  # fmt: skip
NAN = float("nan")
# Beginnings that a spreadsheet may take for a formula: OWASP, "CSV Injection" (from memory).
FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"]


def _table(trays, areas=None):
    n = len(trays)
    return as_table(
        {"tray": trays, "area_mm2": areas or [-1.5, NAN, 0.1, 2.0, 3.0, 4.0, 5.0][:n], "row": list(range(n)),
         "das": pd.array([pd.NA, 12, 13, 14, 15, 16, 17][:n], dtype="Int64")},
        columns=COLUMNS,
    )  # fmt: skip


def _write(path, *parts):
    return write_table(path, iter(parts), columns=COLUMNS, significant_digits=5)


def _xlsx(path):
    return [[(cell.value, cell.data_type) for cell in row] for row in openpyxl.load_workbook(path).active.iter_rows()]


@pytest.mark.parametrize("text", FORMULAS)
def test_formulas_become_text(text):
    assert harmless(text) == "'" + text


@pytest.mark.parametrize("text", ["R1", "a=1", " =1", "", "'=1", "é"])
def test_other_texts_stay(text):
    assert harmless(text) == text


def test_csv(tmp_path):
    assert _write(tmp_path / "t.csv", _table(FORMULAS), _table(["R1"])) == 7
    with (tmp_path / "t.csv").open(newline="") as file:
        rows = list(csv.reader(file))
    assert rows[0] == ["tray", "area_mm2", "row", "das"]
    assert [row[0] for row in rows[1:]] == [*("'" + text for text in FORMULAS), "R1"]
    # A number below zero is no formula and stays a number; what is missing is empty.
    assert rows[1][1:] == ["-1.5", "0", ""]
    assert rows[2][1:] == ["", "1", "12"]


def test_xlsx(tmp_path):
    assert _write(tmp_path / "t.xlsx", _table([*FORMULAS, pd.NA])) == 7
    rows = _xlsx(tmp_path / "t.xlsx")
    assert [value for value, _ in rows[0]] == ["tray", "area_mm2", "row", "das"]
    texts = [row[0] for row in rows[1:]]
    assert [kind for _, kind in texts[:-1]] == ["s"] * len(FORMULAS)
    # Ends of lines are one sign in XML (XML 1.0, 2.11): the carriage return comes back as a line feed.
    assert [value.replace("\n", "\r") for value, _ in texts[:-1]] == ["'" + text for text in FORMULAS]
    assert texts[-1][0] is None
    assert [value for value, _ in rows[1][1:]] == [-1.5, 0, None]
    assert [value for value, _ in rows[2][1:]] == [None, 1, 12]


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_names_that_no_format_holds_do_not_stop_the_export(tmp_path, ending):
    odd = ["\udcff.jpg", "nul\x00", "bell\x07", "../<b>", "写真"]
    assert _write(tmp_path / f"t.{ending}", _table(odd)) == 5


def test_parquet_is_the_table_as_it_is(tmp_path):
    first, second = _table(FORMULAS), _table(["R1", pd.NA])
    _write(tmp_path / "t.parquet", first, second)
    table = pq.read_table(tmp_path / "t.parquet")
    assert [str(kind) for kind in table.schema.types] == ["string", "double", "int64", "int64"]
    assert table["tray"].to_pylist() == [*FORMULAS, "R1", None]
    assert table["area_mm2"].to_pylist()[:3] == [-1.5, None, 0.1]
    assert table["das"].to_pylist()[:2] == [None, 12]


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_equal_tables_are_equal_files(tmp_path, ending, monkeypatch):
    _write(tmp_path / f"a.{ending}", _table(["R1"]))
    real = time.time
    monkeypatch.setattr("time.time", lambda: real() + 86400)
    (tmp_path / "later").mkdir()
    _write(tmp_path / "later" / f"a.{ending}", _table(["R1"]))
    assert (tmp_path / "later" / f"a.{ending}").read_bytes() == (tmp_path / f"a.{ending}").read_bytes()


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_a_table_without_rows_has_its_columns(tmp_path, ending):
    path = tmp_path / f"t.{ending}"
    assert _write(path, _table([])) == 0
    read = {"csv": pd.read_csv, "xlsx": pd.read_excel, "parquet": pd.read_parquet}[ending](path)
    assert list(read.columns) == [column.name for column in COLUMNS]


def test_an_export_that_breaks_off_leaves_the_old_file_alone(tmp_path):
    (tmp_path / "t.csv").write_text("old")

    def parts():
        yield _table(["R1"])
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write_table(tmp_path / "t.csv", parts(), columns=COLUMNS, significant_digits=5)
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("t.csv", "old")]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("t.ods", r"t\.ods: ends in `\.ods`; give a name that ends in \.csv, \.parquet, \.xlsx"),
        ("absent/t.csv", r"absent/t\.csv: cannot be written \(No such file or directory\); make room"),
    ],
)
def test_places_that_cannot_be_written(tmp_path, monkeypatch, name, said):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UsageError, match=said):
        _write(tmp_path / name, _table(["R1"]))


def test_more_rows_than_a_sheet_holds(tmp_path, monkeypatch):
    monkeypatch.setattr(export, "XLSX_ROWS_MAX", 3)
    assert _write(tmp_path / "t.xlsx", _table(["R1", "R2"])) == 2
    with pytest.raises(UsageError, match=r"more\.xlsx: over 2 rows; export \.csv or \.parquet"):
        _write(tmp_path / "more.xlsx", _table(["R1", "R2"]), _table(["R3"]))
    assert not (tmp_path / "more.xlsx").exists()


def test_without_pyarrow_the_way_to_it_is_told(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pyarrow", None)
    with pytest.raises(UsageError, match=r"^t\.parquet: needs pyarrow; install canopy with its extra `parquet`"):
        _write(tmp_path / "t.parquet", _table(["R1"]))
