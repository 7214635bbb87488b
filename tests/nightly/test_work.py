"""One job on the bytes of its photo."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from store.made_up import reading

from canopy.batch.folder import Source
from canopy.batch.job import Done, Job, SetAside
from canopy.nightly.look import Entry
from canopy.nightly.work import outcome
from canopy.records import TrayRecord
from canopy.settings import Settings
from canopy.tray import layout_from

RECORD = TrayRecord(tray="R1", layout=layout_from("3x5", pitch_mm=(50.0, 50.0), outline_mm=(270.0, 170.0)))
JOB = Job(Source(Path("R1_a.jpg"), "R1_a.jpg", Path(), True), "R1_a", RECORD, None)


@pytest.mark.parametrize(
    ("mtime_ns", "date"),
    [
        (1_774_000_000_500_000_000, datetime.fromtimestamp(1_774_000_000.5)),
        (2**63 - 1, datetime.fromtimestamp((2**63 - 1) / 1e9)),
        (400_000 * 10**15, None),  # in the year 14645
    ],
)
def test_the_files_date_is_handed_on_where_a_calendar_holds_it(monkeypatch, mtime_ns, date):
    given = {}

    def analyse(data, record, **named):
        given.update(named)
        return reading()

    monkeypatch.setattr("canopy.nightly.work.analyse", analyse)
    assert isinstance(outcome(JOB, b"", Entry("R1_a.jpg", 0, mtime_ns), settings=Settings()), Done)
    assert given["modified_at"] == date


def test_what_is_set_aside_stays_so():
    aside = SetAside("R1_a.jpg", "R1", "not_listed", "R1_a.jpg: fits no line")
    assert outcome(aside, b"", Entry("R1_a.jpg", 0, 0), settings=Settings()) is aside


def test_bytes_that_are_no_photo_have_their_reason():
    result = outcome(JOB, b"", Entry("R1_a.jpg", 0, 0), settings=Settings())
    assert (result.code, result.tray) == ("empty_file", "R1")
