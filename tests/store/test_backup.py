"""A backup is whole, taken while others write, and never half there."""

from __future__ import annotations

import threading

import pytest

from canopy.errors import StoreError
from canopy.store.backup import back_up
from canopy.store.database import opened
from canopy.store.ledger import put_photo
from canopy.store.readings import put_reading, table

from .made_up import origin, photo, reading


@pytest.fixture
def written(tmp_path):
    file = tmp_path / "s.db"
    with opened(str(file), busy_timeout_s=5, make=True) as store, store.writing() as connection:
        put_photo(connection, photo())
        put_reading(connection, reading(), origin())
    return file


def test_a_backup_is_a_store_with_the_same_tables(written, tmp_path):
    back_up(written, tmp_path / "copy.db")
    with opened(str(tmp_path / "copy.db"), busy_timeout_s=5) as copy, copy.reading() as connection:
        assert len(table(connection, "cells")) == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["copy.db", "s.db"]


def test_a_backup_taken_while_readings_come_in_holds_whole_ones_only(written, tmp_path):
    stop = threading.Event()

    def write():
        number = 0
        with opened(str(written), busy_timeout_s=5, make=True) as store:
            while not stop.is_set():
                number += 1
                with store.writing() as connection:
                    put_photo(connection, photo(f"{number:064}"))
                    put_reading(connection, reading(), origin(f"{number:064}"))

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for k in range(5):
            back_up(written, tmp_path / f"{k}.db")
    finally:
        stop.set()
        writer.join()
    for k in range(5):
        with opened(str(tmp_path / f"{k}.db"), busy_timeout_s=5) as copy, copy.reading() as connection:
            assert len(table(connection, "cells")) == 2 * len(table(connection, "trays"))


def test_nothing_is_overwritten(written, tmp_path):
    (tmp_path / "copy.db").write_text("mine")
    with pytest.raises(StoreError, match=r"copy\.db: is there already and is not overwritten"):
        back_up(written, tmp_path / "copy.db")
    assert (tmp_path / "copy.db").read_text() == "mine"


def test_a_store_that_is_not_there(tmp_path):
    with pytest.raises(StoreError, match=r"absent\.db: no such store"):
        back_up(tmp_path / "absent.db", tmp_path / "copy.db")


def test_a_place_that_cannot_be_written(written, tmp_path):
    with pytest.raises(StoreError, match=r"cannot be written .*; make room or choose another place"):
        back_up(written, tmp_path / "absent" / "copy.db")


def test_a_damaged_store_is_not_copied_as_if_it_were_whole(written, tmp_path):
    data = bytearray(written.read_bytes())
    data[4096 * 3 : 4096 * 12] = bytes(4096 * 9)
    written.write_bytes(data)
    with pytest.raises(StoreError, match=r"damaged|malformed"):
        back_up(written, tmp_path / "copy.db")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["s.db"]
