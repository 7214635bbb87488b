"""Corrections and harvests are added and never changed: the database itself refuses."""

from __future__ import annotations

import pytest

from canopy.errors import StoreError
from canopy.store.logbook import Correction, Harvest, add_correction, add_harvest, corrections, harvests
from canopy.store.notebook import SeenNote, add_note, add_recipe
from canopy.store.people import Deed, note
from canopy.store.schema import APPENDED_ONLY

FIRST = Correction("2026-03-20T06:00:00+00:00", "QA", "ab" * 32, "T1", "A1", "state", "empty", "a peg, no plant")
AT, DAY = "2026-03-20T06:00:00+00:00", "2026-03-20"


def test_corrections_are_kept_in_their_order(store):
    second = Correction(AT, "QA", "ab" * 32, "T1", "A1", "state", None)
    with store.writing() as connection:
        assert len(corrections(connection)) == 0
        add_correction(connection, FIRST)
        add_correction(connection, second)
        table = corrections(connection)
    assert list(table.columns) == list(vars(FIRST))
    assert table.iloc[0].to_dict() == vars(FIRST)
    assert table["value"].isna().tolist() == [False, True]


def test_harvests_may_leave_out_what_was_not_counted(store):
    with store.writing() as connection:
        add_harvest(connection, Harvest(AT, "grower", "T1", "", DAY, weight_g=1234.5))
        add_harvest(connection, Harvest(AT, "grower", "T1", "A1", DAY, heads=1))
        table = harvests(connection)
    assert table["weight_g"].isna().tolist() == table["heads"].notna().tolist() == [False, True]
    assert table["weight_g"].iloc[0] == 1234.5
    assert str(table["heads"].dtype) == "Int64"


@pytest.mark.parametrize("table", APPENDED_ONLY)
@pytest.mark.parametrize("change", ["UPDATE {} SET \"by\" = 'other'", "DELETE FROM {}"])
def test_rows_cannot_be_changed(store, table, change):
    with store.writing() as connection:
        add_correction(connection, FIRST)
        add_harvest(connection, Harvest(AT, "grower", "T1", "", DAY))
        add_note(connection, SeenNote(AT, "grower", "T1", "", "looked at"))
        add_recipe(connection, {"crop": "basil", "stage": "finish"}, at=AT, by="grower", note="")
        note(connection, Deed(AT, "grower", "sign-in"))
    with pytest.raises(StoreError, match="rows are only ever added here"), store.writing() as connection:
        connection.exec_driver_sql(change.format(table))
    with store.reading() as connection:
        assert len(corrections(connection)) == len(harvests(connection)) == 1
