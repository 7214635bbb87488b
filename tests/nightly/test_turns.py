"""One pass at a time, and what is left of one that ended badly."""

from __future__ import annotations

import fcntl
from pathlib import Path

import pytest

from canopy.errors import StoreBusy
from canopy.store.database import opened
from canopy.store.readings import put_reading
from canopy.store.turn import one_at_a_time


def test_a_second_pass_stands_back(any_share):
    share = any_share
    share.put("R1_a.jpg")
    share.one_pass()
    with (
        opened(share.store, busy_timeout_s=5) as store,
        one_at_a_time(store),
        pytest.raises(StoreBusy, match="another pass is running"),
    ):
        share.one_pass()
    assert share.one_pass().known == 1


def test_a_lock_left_behind_by_a_killed_process_locks_nothing_and_goes(share):
    lock = Path(share.store + ".lock")
    lock.write_text("4194305\n")
    share.one_pass()
    assert [path.name for path in lock.parent.iterdir()] == ["canopy.db"]


def test_a_lock_that_was_removed_under_its_holder_is_made_anew(share, monkeypatch):
    lock, real = Path(share.store + ".lock"), fcntl.flock
    removed = []

    def flock(number, how):
        if not removed:
            removed.append(lock.unlink())
        real(number, how)

    monkeypatch.setattr("canopy.store.turn.fcntl.flock", flock)
    share.one_pass()
    assert removed
    assert not lock.exists()


def test_what_was_done_before_a_pass_ended_badly_is_kept_and_not_done_again(any_share, monkeypatch):
    share = any_share
    for k in range(4):
        share.put(f"R1_{k}.jpg", bytes(k + 1))
    calls = []

    def put(connection, reading, origin):
        calls.append(reading.photo)
        number = put_reading(connection, reading, origin)
        if len(calls) == 3:
            raise KeyboardInterrupt  # after its rows were written, before they were kept
        return number

    monkeypatch.setattr("canopy.nightly.take_in.put_reading", put)
    with pytest.raises(KeyboardInterrupt):
        share.one_pass()
    assert len(share.read()) == 2
    assert share.one_pass().read == 2
    assert calls == ["R1_0.jpg", "R1_1.jpg", "R1_2.jpg", "R1_2.jpg", "R1_3.jpg"]
    assert len(share.read("cells")) == 8
