"""The jobs of one photo on its bytes: the map step, called by the pass; loaded only when there is a photo to read."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import cv2

from canopy.analyse import analyse
from canopy.batch.job import Done, Job, Outcome, SetAside
from canopy.batch.run import attempt
from canopy.nightly.look import Entry
from canopy.nightly.when import NS
from canopy.settings import Settings


def outcomes(jobs: Sequence[Job | SetAside], data: bytes, entry: Entry, *, settings: Settings) -> list[Outcome]:
    """What comes of each job of one photo; see `outcome`."""
    return [outcome(job, data, entry, settings=settings) for job in jobs]


def outcome(job: Job | SetAside, data: bytes, entry: Entry, *, settings: Settings) -> Outcome:
    """What comes of one job; a surprise in one photo is its own reason, and stops nothing.

    Parameters
    ----------
    job : Job or SetAside
        What is already set aside stays so.
    data : bytes
        The photo.
    entry : Entry
        Its file: its date is the last resort for the time of the photo.
    settings : Settings
    """
    if isinstance(job, SetAside):
        return job
    return attempt(job, work=lambda one: _work(one, data, entry, settings))


def _work(job: Job, data: bytes, entry: Entry, settings: Settings) -> Done:
    cv2.setNumThreads(1)  # sums come out the same whatever the machine
    reading = analyse(
        data,
        job.record,
        settings=settings,
        name=job.source.name,
        modified_at=_date(entry) if settings.photo.file_date else None,
        recipe=job.recipe,
    )
    return Done(reading, job.stem, "", (), b"")


def _date(entry: Entry) -> datetime | None:
    """File date on this machine's wall clock; None for one that no calendar holds."""
    try:
        return datetime.fromtimestamp(entry.mtime_ns / NS)
    except (OverflowError, OSError, ValueError):
        return None
