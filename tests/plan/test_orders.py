"""Orders as they are typed."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from canopy.errors import UsageError
from canopy.plan import check_orders

TODAY = date(2026, 6, 1)


def _checked(**columns):
    return check_orders(pd.DataFrame(columns), crops={"cos", "pak_choi"}, today=TODAY)


def test_good_lines():
    good, complaints = _checked(
        crop=["cos", "Pak choi"], due=["2026-06-03", "5.6.2026"], heads=["120", None], grams=["", "2500,5"],
        order=["market", ""], min_g=["50", None],
    )  # fmt: skip
    assert complaints == ()
    assert good["crop"].tolist() == ["cos", "pak_choi"]
    assert good["due"].tolist() == [pd.Timestamp("2026-06-03"), pd.Timestamp("2026-06-05")]
    assert good["unit"].tolist() == ["heads", "grams"]
    assert good["wanted"].tolist() == [120.0, 2500.5]
    assert good["order"].tolist() == ["market", "line 3"]
    assert good["min_g"].iloc[0] == 50
    assert np.isnan(good["min_g"].iloc[1])
    assert good["max_mm2"].isna().all()


def test_every_bad_line_is_named_with_its_column():
    bad = [
        ("kos", "2026-06-03", "5", "", ""), ("cos", "2026-05-31", "5", "", ""), ("cos", "soon", "5", "", ""),
        ("cos", "2026-06-03", "5", "100", ""), ("cos", "2026-06-03", "", "", ""), ("cos", "2026-06-03", "many", "", ""),
        ("cos", "2026-06-03", "-5", "", ""), ("cos", "2026-06-03", "2.5", "", ""),
        ("cos", "2026-06-03", "5", "", "cheap"), ("cos", "2026-06-03", "7", "", ""),
    ]  # fmt: skip
    columns = dict(zip(("crop", "due", "heads", "grams", "value"), map(list, zip(*bad, strict=True)), strict=True))
    good, complaints = _checked(**columns)
    assert good["wanted"].tolist() == [7.0]
    assert [str(c) for c in complaints] == [
        "orders line 2, column `crop`: no crop in the trays is called `kos`; did you mean `cos`?",
        "orders line 3, column `due`: 2026-05-31 is past; correct it or remove the line",
        "orders line 4, column `due`: `soon` is not a date; write it like 2026-05-14 or 14.05.2026",
        "orders line 5, column `heads`: 5 stands beside `grams`; keep one of them",
        "orders line 6, column `heads`: neither `heads` nor `grams` is given; give one",
        "orders line 7, column `heads`: `many` is not a number; write it like 12.5",
        "orders line 8, column `heads`: -5 is not above 0; correct it",
        "orders line 9, column `heads`: 2.5 is not a whole number; correct it",
        "orders line 10, column `value`: `cheap` is not a number; write it like 12.5",
    ]


def test_bounds_that_cross_and_names_that_repeat():
    good, complaints = _checked(
        crop=["cos"] * 3, due=["2026-06-03"] * 3, heads=[1, 2, 3], order=["a", "b", "a"], min_mm2=["9000", "", ""],
        max_mm2=["8000", "", ""],
    )  # fmt: skip
    assert good["order"].tolist() == ["b", "a"]
    assert [c.column for c in complaints] == ["min_mm2"]
    _, again = _checked(crop=["cos"] * 2, due=["2026-06-03"] * 2, heads=[1, 2], order=["a", "a"])
    assert str(again[0]) == "orders line 3, column `order`: repeats line 2 (same order); only that one is used"


def test_no_column_of_amounts_is_needed_beyond_one():
    good, _ = _checked(crop=["cos"], due=["2026-06-03"], heads=[4])
    assert good["wanted"].tolist() == [4.0]
    with pytest.raises(UsageError, match="orders: column `due` is missing"):
        _checked(crop=["cos"], heads=[4])
