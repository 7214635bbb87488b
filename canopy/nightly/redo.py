"""Readings made anew by the rules of today: added beside the old ones, which stay, and what differs told."""

from __future__ import annotations

import time
from collections import Counter, deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date

import pandas as pd

from canopy import __version__
from canopy.batch.job import Done, Job, SetAside
from canopy.measure.columns import CELL_COLUMNS, Column, as_table
from canopy.nightly.farm import Farm
from canopy.nightly.look import Entry
from canopy.nightly.pool import Hands, Task, hands
from canopy.nightly.rules import Rules, read_rules
from canopy.nightly.when import utc_text
from canopy.records import Reading
from canopy.store import ledger
from canopy.store.database import Store, opened
from canopy.store.readings import Kept, Origin, made_anew, put_reading, read_numbers, that_count
from canopy.store.turn import one_at_a_time

_LABELS = ("photo", "tray", "cell")
CHANGE_COLUMNS: tuple[Column, ...] = tuple(
    Column(name, "string", "", meaning)
    for name, meaning in (
        ("photo", ""),
        ("tray", ""),
        ("cell", ""),
        ("column", "Name of the column of the table of cells."),
        ("before", "As in the table of cells; empty where it was missing."),
        ("after", ""),
    )
)


@dataclass(frozen=True)
class Changed:
    """A reading beside the one that counted before.

    Attributes
    ----------
    photo, tray : str
    decided : dict of (str, str) to int
        Cells that are decided otherwise, by decision before and after; empty text where there is none.
    readiness, area_mm2 : tuple of (float, float)
        Mean over the cells, before and after; NaN where there is none.
    rows : pandas.DataFrame
        With `CHANGE_COLUMNS`: every value that differs.
    """

    photo: str
    tray: str
    decided: dict[tuple[str, str], int]
    readiness: tuple[float, float]
    area_mm2: tuple[float, float]
    rows: pd.DataFrame


@dataclass
class Redone:
    """What was made anew.

    Attributes
    ----------
    as_made : int
        Readings that were made by the same rules: nothing to be done.
    due : int
        Readings made by other rules.
    made, changed : int
        Readings made anew; how many of them differ from those before.
    set_aside : list of SetAside
        Photos that give no reading by the rules of today; their old readings still count.
    gone : list of str
        Photos that are no longer there or not as they were read; their old readings still count.
    """

    as_made: int = 0
    due: int = 0
    made: int = 0
    changed: int = 0
    set_aside: list[SetAside] = field(default_factory=list)
    gone: list[str] = field(default_factory=list)

    @property
    def exit_code(self) -> int:
        """0 all good, 1 some photos were set aside or are gone."""
        return int(bool(self.set_aside or self.gone))


def count_due(farm: Farm, *, since: date) -> Redone:
    """Count what `redo` would make anew, and change nothing."""
    rules, done = read_rules(farm), Redone()
    with opened(farm.store, busy_timeout_s=farm.settings.store.busy_timeout_s) as store:
        done.due = len(list(_due(store, rules, since, done)))
    return done


def redo(
    farm: Farm, done: Redone, *, since: date, workers: int | None = None, clock: Callable[[], int] = time.time_ns
) -> Iterator[Changed]:
    """Make readings anew whose settings, recipe, line of the tray list or version are no longer those of today.

    It may be ended at any instant and started again, as a pass.

    Parameters
    ----------
    farm : Farm
    done : Redone
        Counts what is done.
    since : datetime.date
        First day on which the photos were taken.
    workers, clock
        As of `canopy.nightly.night.one_pass`.

    Yields
    ------
    Changed
        Of every reading made anew, those without differences too, in the order of the tables.

    Raises
    ------
    StoreBusy
        A pass is running.
    StoreError
        The store cannot be opened or written.
    UsageError
        The tray list or settings cannot be used.
    """
    rules, place = read_rules(farm), farm.place()
    with (
        opened(farm.store, busy_timeout_s=farm.settings.store.busy_timeout_s) as store,
        one_at_a_time(store),
        hands(workers, farm.settings) as by,
    ):
        line: deque[tuple[_Due, Task]] = deque()
        for one in _due(store, rules, since, done):
            done.due += 1
            entry = Entry(one.file.name, one.file.size, one.file.mtime_ns)
            taken = place.take(one.file.path, entry)
            if taken.state != "whole":
                done.gone.append(one.file.path)
                continue
            line.append((one, Task((one.job,), taken.data, entry)))
            by.give(line[-1][1])
            while len(line) > by.ahead:
                yield from _kept(*line.popleft(), store, rules, by, done, clock)
        while line:
            yield from _kept(*line.popleft(), store, rules, by, done, clock)


@dataclass(frozen=True)
class _Due:
    """One reading to be made anew."""

    kept: Kept
    job: Job
    file: ledger.File


def _due(store: Store, rules: Rules, since: date, done: Redone) -> Iterator[_Due]:
    """Readings made by other rules than today's, whose photos a file is known of."""
    with store.reading() as connection:
        kept = that_count(connection, since=since.isoformat())
        files = {sha256: ledger.files_of(connection, sha256) for sha256 in {one.photo_sha256 for one in kept}}
    for one in kept:
        known = files[one.photo_sha256]
        if not known:
            done.gone.append(one.photo)
            continue
        file = next((file for file in known if file.path == one.photo), known[0])
        jobs = [job for job in rules.jobs(file.path) if isinstance(job, Job) and job.record.tray == one.tray]
        if not jobs or rules.made_with(jobs[0]) == one.made_with:
            done.as_made += 1
        else:
            yield _Due(one, jobs[0], file)


def _kept(
    one: _Due, task: Task, store: Store, rules: Rules, by: Hands, done: Redone, clock: Callable[[], int]
) -> Iterator[Changed]:
    """Wait for a reading and add it; what it changes comes back, or nothing where the photo gave none."""
    outcome = by.outcomes(task)[0]
    if not isinstance(outcome, Done):
        done.set_aside.append(outcome)
        return
    made_with = rules.made_with(one.job)
    origin = Origin(one.kept.photo_sha256, rules.configuration.fingerprint, __version__, made_with, utc_text(clock()))
    with store.writing() as connection:
        before = read_numbers(connection, "cells", [one.kept.number], CELL_COLUMNS)
        put_reading(connection, outcome.reading, made_anew(connection, origin, one.kept.tray))
    changed = compared(before, outcome.reading)
    done.made += 1
    done.changed += bool(len(changed.rows))
    yield changed


def compared(before: pd.DataFrame, reading: Reading) -> Changed:
    """The cells of a reading beside those of an earlier one."""
    after = reading.cells
    old, new = (table.set_index("cell") for table in (before, after))
    both = old.index.intersection(new.index)
    decisions = Counter(
        (was, now)
        for was, now in zip(old["decision"][both].fillna(""), new["decision"][both].fillna(""), strict=True)
        if was != now
    )
    return Changed(
        reading.photo,
        reading.tray,
        dict(sorted(decisions.items())),
        (float(before["readiness"].mean()), float(after["readiness"].mean())),
        (float(before["area_mm2"].mean()), float(after["area_mm2"].mean())),
        _rows(old.loc[both], new.loc[both], reading),
    )


def _rows(old: pd.DataFrame, new: pd.DataFrame, reading: Reading) -> pd.DataFrame:
    """Every value that differs, column by column."""
    rows: list[tuple[str, ...]] = []
    for name in [column.name for column in CELL_COLUMNS if column.name not in (*_LABELS, "taken_at")]:
        was, now = old[name], new[name]
        differs = ~((was == now).fillna(False).astype(bool) | (was.isna() & now.isna()))
        rows += [
            (reading.photo, reading.tray, str(cell), name, _text(was[cell]), _text(now[cell]))
            for cell in old.index[differs]
        ]
    columns = zip(*rows, strict=True) if rows else [()] * len(CHANGE_COLUMNS)
    return as_table(
        {column.name: list(of) for column, of in zip(CHANGE_COLUMNS, columns, strict=True)}, columns=CHANGE_COLUMNS
    )


def _text(value: object) -> str:
    return "" if pd.isna(value) else str(value)  # type: ignore[call-overload]
