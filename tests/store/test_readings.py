"""Readings: what is put in comes out, whole, typed and in one order, on both databases."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from canopy.errors import StoreError
from canopy.measure.columns import CELL_COLUMNS, TRAY_COLUMNS
from canopy.readiness.criteria import CRITERIA_COLUMNS
from canopy.store.ledger import put_photo
from canopy.store.readings import TABLES, put_reading, table, tables, trays_read
from canopy.store.schema import CRITERIA

from .made_up import ODD_NAME, origin, photo, reading


def _put(store, *readings, sha256="ab" * 32, **changes):
    with store.writing() as connection:
        put_photo(connection, photo(sha256))
        return [put_reading(connection, one, origin(sha256, **changes)) for one in readings]


def _table(store, name, **options):
    with store.reading() as connection:
        return table(connection, name, **options)


def test_tables_come_out_as_they_were_put_in(store):
    put = reading()
    _put(store, put)
    # Numbers of 8 bytes go in and out of both databases as they are: equal to the last bit.
    pd.testing.assert_frame_equal(_table(store, "cells"), put.cells, check_exact=True)
    pd.testing.assert_frame_equal(_table(store, "trays"), put.trays, check_exact=True)
    criteria = _table(store, "criteria").drop(columns=["photo", "tray", "taken_at"])
    pd.testing.assert_frame_equal(criteria.astype({"withheld": "bool"}), put.criteria, check_exact=True)
    assert _table(store, "remarks")[["code", "text", "cell"]].to_numpy().tolist() == [
        ["dark", "mean 0.1", ""], ["coarse", "1 px", "A1"]
    ]  # fmt: skip


def test_a_number_can_be_traced(store):
    _put(store, reading())
    assert _table(store, "trace").iloc[0].to_dict() == {"photo": "a.jpg", "tray": "T1", **vars(origin())}


def test_columns_are_those_promised():
    assert TABLES["cells"] == CELL_COLUMNS
    assert TABLES["trays"] == TRAY_COLUMNS
    assert tuple(CRITERIA) == CRITERIA_COLUMNS


@pytest.mark.parametrize("name", list(TABLES))
def test_an_empty_store_gives_the_same_columns_and_types(store, name):
    empty = _table(store, name)
    assert len(empty) == 0
    _put(store, reading())
    full = _table(store, name)
    assert len(full) > 0
    assert full.dtypes.to_dict() == empty.dtypes.to_dict()


def test_a_reading_without_cells_has_its_tray(store):
    _put(store, reading(cells=0))
    assert len(_table(store, "cells")) == len(_table(store, "criteria")) == 0
    assert len(_table(store, "trays")) == 1


def test_the_order_does_not_depend_on_what_was_put_in_first(store):
    for name, sha256 in (("b.jpg", "b" * 64), ("Z.jpg", "c" * 64), ("a.jpg", "d" * 64), ("ä.jpg", "e" * 64)):
        _put(store, reading(name), sha256=sha256)
    # By code points, capitals before small letters, whatever language the server sorts by.
    assert _table(store, "trays")["photo"].tolist() == ["Z.jpg", "a.jpg", "b.jpg", "ä.jpg"]
    assert _table(store, "cells")["photo"].tolist()[::2] == ["Z.jpg", "a.jpg", "b.jpg", "ä.jpg"]


@pytest.mark.parametrize("at_once", [1, 2, 3])
def test_parts_together_are_the_whole(store, at_once):
    for k in range(3):
        _put(store, reading(f"{k}.jpg", cells=k), sha256=str(k) * 64)
    with store.reading() as connection:
        parts = list(tables(connection, "cells", at_once=at_once))
        whole = table(connection, "cells")
    assert len(parts) == int(np.ceil(3 / at_once))
    pd.testing.assert_frame_equal(pd.concat(parts, ignore_index=True), whole)


def test_one_tray_alone(store):
    _put(store, reading(tray="T1"), reading(tray="T2"))
    assert _table(store, "trays", tray="T2")["tray"].tolist() == ["T2"]


def test_of_a_reading_made_again_the_newest_counts_and_the_old_one_stays(store):
    first, second = _put(store, reading(area=1.0))[0], _put(store, reading(area=2.0), made_with="w2")[0]
    assert second > first
    assert _table(store, "cells")["area_mm2"].iloc[0] == 2.0
    with store.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM readings").scalar() == 2


def test_the_same_reading_cannot_be_put_twice(store):
    _put(store, reading())
    with pytest.raises(StoreError, match=r"(?i)unique"):
        _put(store, reading())


def test_a_reading_of_an_unknown_photo_is_refused(store):
    with pytest.raises(StoreError, match=r"(?i)foreign key"), store.writing() as connection:
        put_reading(connection, reading(), origin())


def test_a_reading_is_seen_whole_or_not_at_all(store):
    def put_and_fail():
        with store.writing() as connection:
            put_photo(connection, photo())
            put_reading(connection, reading(), origin())
            assert len(_table(store, "cells")) == len(_table(store, "trays")) == 0
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        put_and_fail()
    assert len(_table(store, "cells")) == len(_table(store, "trays")) == 0


def test_names_of_any_kind_come_back(store):
    put = reading(ODD_NAME, "../\x00<b>'; DROP TABLE cells;--")
    _put(store, put)
    back = _table(store, "trays")
    assert back["photo"].tolist() == [ODD_NAME]
    assert back["tray"].tolist() == [put.tray]
    with store.reading() as connection:
        assert trays_read(connection, "ab" * 32) == {put.tray}
