"""Processes that read photos: what one photo does to its process is that photo's affair alone."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import pytest

from canopy.batch.folder import Source
from canopy.batch.job import Done, Job, SetAside
from canopy.errors import UsageError
from canopy.nightly.look import Entry
from canopy.nightly.pool import Pool, Task
from canopy.records import TrayRecord
from canopy.settings import Settings
from canopy.tray import layout_from

from .conftest import counts

HAZARDS = "nightly.hazards:outcomes"
RECORD = TrayRecord(tray="R1", layout=layout_from("3x5", pitch_mm=(50.0, 50.0), outline_mm=(270.0, 170.0)))


def _task(name: str, data: str) -> Task:
    job = Job(Source(Path(name), name, Path(), True), name, RECORD, None)
    return Task((job,), data.encode(), Entry(name, len(data), 0))


@pytest.fixture
def pool():
    made = []

    def make(count=1, *, work=HAZARDS, **limits):
        given = {"worker_memory_mb": 2000, **limits}
        made.append(Pool(count, Settings.model_validate({"nightly": given}), work=work))
        return made[-1]

    yield make
    for one in made:
        one.close()


def _all(pool, tasks):
    for task in tasks:
        pool.give(task)
    return [pool.outcomes(task)[0] for task in tasks]


def test_outcomes_belong_to_their_photos_whatever_is_ready_first(pool):
    tasks = [_task(f"{k}.jpg", "x" * k) for k in range(1, 8)]
    got = _all(pool(2), tasks)
    assert [outcome.reading.photo for outcome in got] == [f"{k}.jpg" for k in range(1, 8)]
    assert [outcome.reading.cells["area_mm2"][0] for outcome in got] == list(range(1, 8))


def test_a_photo_that_ends_its_process_twice_is_set_aside_and_the_others_are_read(pool):
    got = _all(pool(2), [_task("a.jpg", "x"), _task("b.jpg", "die"), _task("c.jpg", "leave"), _task("d.jpg", "x")])
    assert [type(outcome) for outcome in got] == [Done, SetAside, SetAside, Done]
    assert [outcome.code for outcome in got[1:3]] == ["process_died"] * 2
    assert got[1].message == "b.jpg: ended its process twice (signal SIGKILL); save it anew or remove it"
    assert "(exit code 3)" in got[2].message


def test_a_photo_whose_process_died_of_something_else_is_read_by_the_next(pool, tmp_path):
    outcome = _all(pool(1), [_task("a.jpg", f"once {tmp_path / 'died'}")])[0]
    assert isinstance(outcome, Done)
    assert (tmp_path / "died").exists()


def test_a_photo_that_takes_too_long_twice_is_set_aside(pool):
    began = time.monotonic()
    got = _all(pool(2, photo_max_s=2.0), [_task("a.jpg", "hang"), _task("b.jpg", "x")])
    assert (got[0].code, type(got[1])) == ("too_slow", Done)
    assert "photo_max_s = 2 twice" in got[0].message
    # Twice the limit and three starts of a process, on a busy machine; the work itself would take ten minutes.
    assert time.monotonic() - began < 60


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux bounds the memory that is allocated")
def test_a_photo_that_needs_too_much_memory_is_set_aside_and_its_process_goes_on(pool):
    one = pool(1, worker_memory_mb=1000)
    got = _all(
        one, [_task("a.jpg", "who"), _task("b.jpg", "hoard 3000"), _task("c.jpg", "who"), _task("d.jpg", "hoard 1")]
    )
    assert [getattr(outcome, "code", None) for outcome in got] == [None, "out_of_memory", None, None]
    assert got[0].reading.cells["area_mm2"][0] == got[2].reading.cells["area_mm2"][0]


def test_a_process_is_replaced_after_so_many_photos(pool):
    got = _all(pool(1, worker_photos=2), [_task(f"{k}.jpg", "who") for k in range(4)])
    first, second, third, fourth = (outcome.reading.cells["area_mm2"][0] for outcome in got)
    assert first == second != third == fourth
    assert os.getpid() not in {first, third}


def test_a_process_that_cannot_even_start_is_no_photos_fault(pool):
    one, task = pool(1, work="nightly.hazards:broken"), _task("a.jpg", "x")
    one.give(task)
    with pytest.raises(
        UsageError, match=r"worker_memory_mb = 2000: a process .* while it was starting \(exit code 5\)"
    ):
        one.outcomes(task)


def test_processes_end_with_the_pool(pool):
    one = pool(2)
    _all(one, [_task("a.jpg", "x"), _task("b.jpg", "x")])
    processes = [worker.process for worker in one.workers]
    one.give(_task("c.jpg", "hang"))
    one.close()
    assert [process.is_alive() for process in processes] == [False] * len(processes)


@pytest.fixture
def with_hazards(share, monkeypatch):
    monkeypatch.setattr("canopy.nightly.pool.WORK", HAZARDS)
    return share


def test_the_store_is_the_same_for_any_number_of_processes(with_hazards, tmp_path):
    share = with_hazards
    for k in range(9):
        share.put(f"{k % 3}/R1_{k}.jpg", b"x" * (k + 1))
    share.put("2/R1_copy.jpg", b"x" * 9)  # comes while the first of its content is under way
    share.put("1/R2_die.jpg", b"leave")
    tables = {}
    for workers in (1, 3):
        share.store = str(tmp_path / "kept" / f"{workers}.db")
        share.options["workers"] = workers
        assert counts(share.one_pass()) == (9, 1, 0, 0, 1)
        assert counts(share.one_pass()) == (0, 11, 0, 0, 0)
        tables[workers] = Path(share.store).read_bytes()
    # Not only the tables: the same rows in the same order under the same numbers.
    assert tables[1] == tables[3]


def test_raised_limits_let_a_photo_in_again(with_hazards):
    share = with_hazards
    share.options["workers"] = 1
    share.put("R1_a.jpg", b"hoard 800")
    (share.folder / "canopy.toml").write_text("[nightly]\nworker_memory_mb = 900\n")
    assert [aside.code for aside in share.one_pass().set_aside] == ["out_of_memory"]
    assert counts(share.one_pass()) == (0, 1, 0, 0, 0)
    (share.folder / "canopy.toml").write_text("[nightly]\nworker_memory_mb = 4000\n")
    assert counts(share.one_pass()) == (1, 0, 0, 0, 0)
