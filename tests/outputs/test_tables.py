"""Numbers to text: every expected text is written down by hand."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime

import numpy as np
import pandas as pd
import pytest

from canopy.outputs.tables import field_text, header_line, table_lines


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.1 + 0.2, "0.3"),
        (1234.56789, "1234.6"),
        (123456.7, "123457"),  # whole digits are kept though five are asked for
        (0.000012345678, "0.000012346"),  # no exponent
        (1e-7, "0.0000001"),
        (100.0, "100"),
        (-0.0, "0"),
        (-0.00000000001, "-0.00000000001"),
        (0.25, "0.25"),
        (np.float64(2.5), "2.5"),
        (7, "7"),
        (np.int64(7), "7"),
        (True, "yes"),
        (np.bool_(False), "no"),
        ("R1", "R1"),
        (None, ""),
        (float("nan"), ""),
        (float("inf"), ""),
        (pd.NA, ""),
        (pd.NaT, ""),
        (date(2026, 3, 5), "2026-03-05"),
        (datetime(2026, 3, 5, 5, 30, 0, 999), "2026-03-05T05:30:00"),
        (datetime(2026, 3, 5, 5, 30, tzinfo=UTC), "2026-03-05T05:30:00+00:00"),
    ],
)
def test_one_value(value, text):
    assert field_text(value, 5) == text


def test_missing_values_of_every_column_type_are_empty_fields():
    table = pd.DataFrame(
        {
            "text": pd.Series(["a", pd.NA], dtype="string"),
            "number": pd.Series([1.5, np.nan]),
            "whole": pd.Series([3, pd.NA], dtype="Int64"),
        }
    )
    assert table_lines(table, significant_digits=5) == "a,1.5,3\n,,\n"


def test_fields_with_commas_quotes_and_line_ends_come_back_as_they_were():
    words = 'cut, then "wait"\nor not'
    text = header_line(["a", "b"]) + table_lines(pd.DataFrame({"a": [words], "b": ["ü"]}), significant_digits=5)
    assert list(csv.reader(io.StringIO(text))) == [["a", "b"], [words, "ü"]]


def test_a_table_without_rows_is_no_text():
    assert table_lines(pd.DataFrame({"a": []}), significant_digits=5) == ""


def test_numbers_read_back_within_the_promised_digits():
    values = np.random.default_rng(1).lognormal(sigma=6, size=500)
    text = table_lines(pd.DataFrame({"a": values}), significant_digits=5)
    # Half a unit in the fifth digit is at most 5e-5 of the value.
    np.testing.assert_allclose([float(line) for line in text.split()], values, rtol=5e-5)


def test_a_carriage_return_stands_in_quotes():
    # RFC 4180, 2.6: fields with line breaks are enclosed in double quotes; both signs may end a line.
    table = pd.DataFrame({"a": ["x\ry", "plain"], "b": ["\r", 'q"']}, dtype=object)
    assert table_lines(table, significant_digits=5) == '"x\ry","\r"\nplain,"q"""\n'
