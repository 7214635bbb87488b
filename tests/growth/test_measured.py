"""What people and sensors measure, and how many plants speak for a tray."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from canopy.errors import UsageError
from canopy.growth.measured import MEASURED_DTYPES, check_measured
from canopy.growth.sample import plants_to_measure, sure_share
from canopy.records import Layout, TrayRecord

LAYOUT = Layout(
    name="2x3", rows=2, columns=3, pitch_x_mm=50, pitch_y_mm=50, outline_width_mm=160, outline_height_mm=110
)
TRAYS = {"T1": TrayRecord(tray="T1", layout=LAYOUT, sown_on=date(2026, 5, 1))}


def test_any_column_is_a_measurement():
    typed = pd.DataFrame(
        {"tray": "T1", "date": ["2026-05-14", "14.05.2026"], "cell": ["A1", None], "root_score": [3, ""],
         "ec": ["", "1,8"], "note": ["x", "y"]}
    )  # fmt: skip
    good, complaints = check_measured(typed, trays=TRAYS)
    assert complaints == ()
    assert good.dtypes.astype(str).to_dict() == MEASURED_DTYPES
    assert good[["cell", "name", "value"]].to_numpy().tolist() == [["A1", "root_score", 3.0], ["whole tray", "ec", 1.8]]


def test_a_bad_value_is_named_and_the_rest_of_its_line_goes_on():
    typed = pd.DataFrame(
        {"tray": ["T1", "T2", "T1", "T1"], "date": ["2026-05-14"] * 4, "cell": ["A1", "A1", "Z9", "A1"],
         "ph": ["acid", 6, 6, 5.5], "ec": [1.5, 1.5, 1.5, 1.6]}
    )  # fmt: skip
    good, complaints = check_measured(typed, trays=TRAYS)
    assert good[["name", "value"]].to_numpy().tolist() == [["ph", 5.5], ["ec", 1.5]]
    assert [str(c) for c in complaints] == [
        "measured line 2, column `ph`: `acid` is not a number; write it like 12.5",
        "measured line 3, column `tray`: no tray is called `T2`; correct the name",
        "measured line 4, column `cell`: its tray has no cell Z9; write a name like B4, or `whole tray`",
        "measured line 5, column `date`: repeats line 2 (same tray, cell, date); only that one is used",
    ]
    with pytest.raises(UsageError, match="measured: column `date` is missing"):
        check_measured(pd.DataFrame({"tray": ["T1"]}), trays=TRAYS)


@pytest.mark.parametrize(
    ("share", "confidence", "count"),
    # Success-run theorem, n = ln(1 − C)/ln R rounded up; 22, 29 and 59 are the numbers that handbooks of reliability
    # testing print for 90/90, 90/95 and 95/95 (from memory), 8 by hand: ln 0.2/ln 0.8 = 7.21.
    [(0.9, 0.9, 22), (0.9, 0.95, 29), (0.95, 0.95, 59), (0.8, 0.8, 8)],
)
def test_plants_to_measure_without_a_failure(share, confidence, count):
    assert plants_to_measure(0, share=share, confidence=confidence, most=200) == count
    assert sure_share(count, 0, confidence=confidence) >= share
    assert sure_share(count - 1, 0, confidence=confidence) < share


def test_share_with_failures():
    # Clopper & Pearson 1934: the lower limit p solves P(X ≥ passed | n, p) = 1 − confidence; by the binomial sum for
    # 9 of 10 at 95 %: 10 p⁹(1 − p) + p¹⁰ = 0.05 at p = 0.6058.
    p = sure_share(9, 1, confidence=0.95)
    assert 10 * p**9 * (1 - p) + p**10 == pytest.approx(0.05, abs=1e-9)
    assert p == pytest.approx(0.6058, abs=1e-4)
    assert sure_share(0, 5, confidence=0.9) == 0.0
    assert plants_to_measure(3, share=0.9, confidence=0.9, most=20) is None
