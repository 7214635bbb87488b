"""Running jobs: order, failures, processes that die. Work is a function of the job's name, no photo is read."""

from __future__ import annotations

import os
from pathlib import Path

import pandas as pd
import pytest

from canopy.batch.folder import Source
from canopy.batch.job import Done, Job, SetAside
from canopy.batch.run import run
from canopy.errors import PhotoError, UsageError
from canopy.records import Layout, Reading, TrayRecord

_LAYOUT = Layout(
    name="2x3", rows=2, columns=3, pitch_x_mm=50, pitch_y_mm=50, outline_width_mm=150, outline_height_mm=100
)


def _job(name: str) -> Job:
    return Job(Source(Path(name), name, Path(), True), name, TrayRecord(tray=f"T-{name}", layout=_LAYOUT), None)


def _work(job: Job) -> Done:
    name = job.source.name
    if name.startswith("doubtful"):
        raise PhotoError("blurred", f"{name}: edges are smeared")
    if name.startswith("bug"):
        raise ZeroDivisionError("one over\nnothing")
    if name.startswith("full"):
        raise UsageError("out: cannot be written (No space left on device)")
    if name.startswith("kill"):
        os._exit(3)
    nothing = pd.DataFrame()
    return Done(Reading(name, job.record.tray, nothing, nothing, nothing), job.stem, "", (), b"")


class _Kept(list):
    def put(self, outcome) -> None:
        self.append(outcome)


def _outcomes(names, workers):
    kept = _Kept()
    jobs = [SetAside(name, "", "missing", "m") if name.startswith("absent") else _job(name) for name in names]
    run(jobs, work=_work, sink=kept, workers=workers)
    return [(o.photo, o.code) if isinstance(o, SetAside) else (o.reading.photo, "read") for o in kept], kept


@pytest.mark.parametrize("workers", [1, 2])
def test_every_outcome_comes_in_the_order_of_the_jobs(workers):
    names = ["a", "absent", "doubtful", "bug", *(f"p{n:02d}" for n in range(12))]
    got, _ = _outcomes(names, workers)
    codes = {"absent": "missing", "doubtful": "blurred", "bug": "failed"}
    assert got == [(name, codes.get(name, "read")) for name in names]


def test_a_photo_that_kills_its_process_is_set_aside_and_the_others_go_on():
    names = ["a", "kill", "b", "c", "d"]
    got, kept = _outcomes(names, 2)
    assert got == [("a", "read"), ("kill", "failed"), ("b", "read"), ("c", "read"), ("d", "read")]
    assert kept[1].message == ("kill: its process was ended, most likely for want of memory; use fewer --workers")


def test_a_message_is_one_line():
    _, kept = _outcomes(["bug"], 1)
    assert kept[0].message == "bug: ZeroDivisionError: one over nothing"


@pytest.mark.parametrize("workers", [1, 2])
def test_what_stops_everything_is_raised(workers):
    with pytest.raises(UsageError, match="out: cannot be written"):
        _outcomes(["a", "full", "b"], workers)


def test_no_jobs_no_outcomes():
    assert _outcomes([], 2)[0] == []
