"""The store against the folder: every way in which the two can differ is told, and nothing is changed."""

from __future__ import annotations

import os
import sqlite3

import pytest

from canopy.errors import UsageError
from canopy.nightly.check import check
from canopy.nightly.place import Folder
from canopy.store.database import opened

from .conftest import BAD


def _check(share, **options):
    with opened(share.store, busy_timeout_s=5) as store:
        return check(Folder(share.folder), store, **{"compare_bytes": False, **options})


@pytest.fixture
def three(any_share):
    for name, data in (("R1_a.jpg", b"1"), ("rack/R1_b.jpg", b"22"), ("R1_bad.jpg", BAD)):
        any_share.put(name, data)
    any_share.one_pass()
    return any_share


def test_all_is_well(three):
    for compare_bytes in (False, True):
        found = _check(three, compare_bytes=compare_bytes)
        assert (found.files, found.exit_code) == (3, 0)


def test_what_differs_is_told(three):
    (three.folder / "R1_a.jpg").unlink()
    three.put("rack/R1_b.jpg", b"longer")
    three.put("R1_new.jpg", b"4")
    found = _check(three)
    assert (found.absent, found.changed, found.new, found.files) == (
        ["R1_a.jpg"], ["rack/R1_b.jpg"], ["R1_new.jpg"], 1
    )  # fmt: skip
    assert found.exit_code == 1
    three.one_pass()
    found = _check(three)
    assert (found.absent, found.changed, found.new) == ([], [], [])
    assert found.unseen == ["R1_a.jpg", "rack/R1_b.jpg"]  # their readings stay


def test_other_bytes_of_the_same_size_and_date_show_when_bytes_are_compared(three):
    file = three.folder / "R1_a.jpg"
    times = file.stat().st_mtime_ns
    file.write_bytes(b"9")
    os.utime(file, ns=(times, times))
    assert _check(three).exit_code == 0
    assert _check(three, compare_bytes=True).changed == ["R1_a.jpg"]


def test_a_file_that_could_not_be_read_is_not_taken_in(share):
    (share.folder / "R1_a.jpg").symlink_to("nothing.jpg")
    share.put("R1_b.jpg")
    share.one_pass()
    assert _check(share).new == ["R1_a.jpg"]


def test_rows_that_are_lost_are_told(share):
    share.put("R1_a.jpg", b"1")
    share.put("R1_b.jpg", b"22")
    share.one_pass()
    with sqlite3.connect(share.store) as connection:
        connection.execute("DELETE FROM cells WHERE reading_id = 1 AND position = 0")
        connection.execute("DELETE FROM readings WHERE id = 2")
    assert _check(share).damage == [
        *(f"{part}: a row without its readings" for part in ("cells", "criteria", "remarks") for _ in range(2)),
        "R1_a.jpg, tray R1: its reading lacks cells",
        "R1_b.jpg: counts as read and has no reading",
    ]  # fmt: skip


def test_a_folder_that_is_not_there(three):
    with opened(three.store, busy_timeout_s=5) as store, pytest.raises(UsageError, match="no such folder"):
        check(Folder(three.folder / "absent"), store, compare_bytes=False)
