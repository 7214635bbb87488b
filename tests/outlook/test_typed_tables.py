"""Tables as people type them."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from openpyxl import Workbook

from canopy.errors import UsageError
from canopy.outlook.typed_tables import find_typed, read_typed


def _csv(tmp_path, text, name="weigh_ins.csv"):
    path = tmp_path / name
    path.write_bytes(text.encode("utf-8-sig"))
    return path


def _sheet(tmp_path, rows, name="weigh_ins.xlsx"):
    book = Workbook()
    for row in rows:
        book.active.append(row)
    path = tmp_path / name
    book.save(path)
    return path


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_the_heading_says_what_parts_the_fields(tmp_path, mark):
    text = "# mine\nTray,Cell,grams\n\nT1,A1,12.5\n,,\nT2,B1,3\n".replace(",", mark)
    typed = read_typed(_csv(tmp_path, text))
    assert typed.table.to_dict("list") == {
        "tray": ["T1", "T2"], "cell": ["A1", "B1"], "grams": ["12.5", "3"], "line": [4, 6],
    }  # fmt: skip
    assert typed.complaints == ()


def test_decimal_commas_stay_whole_where_semicolons_part_fields(tmp_path):
    assert read_typed(_csv(tmp_path, "tray;grams\nT1;12,5\n")).table["grams"].tolist() == ["12,5"]


def test_a_field_too_many_is_named_and_the_rest_goes_on(tmp_path):
    typed = read_typed(_csv(tmp_path, "tray,grams\nT1,12,5\nT2,3\n"))
    assert [str(c) for c in typed.complaints] == [
        "weigh_ins.csv line 2, column `grams`: 3 fields under 2 columns; put fields that hold a comma in quotes"
    ]
    assert typed.table["tray"].tolist() == ["T2"]


def test_a_sheet_keeps_names_dates_and_numbers(tmp_path):
    rows = [["Tray", "date", "grams"], [7.0, datetime(2026, 5, 14), 12.5], ["T2", date(2026, 5, 15), "12,5"]]
    table = read_typed(_sheet(tmp_path, rows), days=("date",)).table
    assert table.to_dict("list") == {
        "tray": [7, "T2"], "date": ["2026-05-14", "2026-05-15"], "grams": [12.5, "12,5"], "line": [2, 3],
    }  # fmt: skip


def test_day_counts_of_spreadsheets_become_dates(tmp_path):
    # ECMA-376 part 1, 18.17.4.1, 1900 date base: serial 2 is 2 January 1900 by the format's leap year bug, so that from
    # March 1900 on day 0 is 30 December 1899; 46156 = 2026-05-14 by Python's calendar.
    assert (date(2026, 5, 14) - date(1899, 12, 30)).days == 46156
    table = read_typed(_csv(tmp_path, "tray,date,grams\nT1,46156,46156\n"), days=("date",)).table
    assert table.loc[0, ["date", "grams"]].tolist() == ["2026-05-14", "46156"]
    sheet = read_typed(_sheet(tmp_path, [["date"], [46156]], "events.xlsx"), days=("date",)).table
    assert sheet["date"].tolist() == ["2026-05-14"]


def test_files_that_cannot_be_used_say_how_to_mend_them(tmp_path):
    with pytest.raises(UsageError, match="is empty; the first line names the columns"):
        read_typed(_csv(tmp_path, "\n# nothing\n"))
    with pytest.raises(UsageError, match="column `tray` stands twice; keep one of them"):
        read_typed(_csv(tmp_path, "tray,Tray\nT1,T2\n"))
    with pytest.raises(UsageError, match=r"ends in `.ods`; give a table as .csv or .xlsx"):
        read_typed(_csv(tmp_path, "tray\n", "a.ods"))
    with pytest.raises(UsageError, match=r"b.xlsx: cannot be read as a workbook; save it again as .xlsx or .csv"):
        read_typed(_csv(tmp_path, "tray\n", "b.xlsx"))
    with pytest.raises(UsageError, match="no such file"):
        read_typed(tmp_path / "c.xlsx")


def test_one_table_of_a_name(tmp_path):
    assert find_typed(tmp_path, "weigh_ins") is None
    _csv(tmp_path, "tray\nT1\n")
    assert find_typed(tmp_path, "weigh_ins").table["tray"].tolist() == ["T1"]
    _sheet(tmp_path, [["tray"], ["T1"]])
    with pytest.raises(UsageError, match=r"weigh_ins.xlsx: two tables of one name; keep one of them"):
        find_typed(tmp_path, "weigh_ins")
