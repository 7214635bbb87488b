"""One pass: new photos of a folder worked through, each content once, every step kept whole or not at all."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from canopy.batch.job import SetAside
from canopy.errors import CanopyError, UsageError
from canopy.nightly.farm import Farm, find_farm
from canopy.nightly.log import Log
from canopy.nightly.look import Listing
from canopy.nightly.metrics import Metric, of_store, write_metrics
from canopy.nightly.place import Place
from canopy.nightly.pool import hands
from canopy.nightly.rules import read_rules
from canopy.nightly.take_in import Intake, TakenIn
from canopy.nightly.tell import tell
from canopy.nightly.when import NS
from canopy.store import ledger
from canopy.store.database import Store, opened
from canopy.store.turn import one_at_a_time

ALL_GOOD, SOME_SET_ASIDE, LIST_WRONG = 0, 1, 2


@dataclass
class Night:
    """What a pass did.

    Attributes
    ----------
    store : str
        Where the readings are.
    read : int
        Photos that gave a reading.
    known : int
        Files that asked for nothing: unchanged, or copies of a known content.
    waiting : int
        Files that may still be being copied, left for the next pass.
    gone : int
        Files known from earlier that are no longer there; their readings stay.
    set_aside : list of SetAside
        In this pass; those of earlier passes are not repeated.
    problems : list of str
        Folders that cannot be listed, photos that a server does not give.
    list_problems : tuple of str
        Lines of the tray list that cannot be used.
    notes : list of str
        What else a person should know: messages that were not sent and the like; the readings are kept.
    """

    store: str
    read: int = 0
    known: int = 0
    waiting: int = 0
    gone: int = 0
    set_aside: list[SetAside] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    list_problems: tuple[str, ...] = ()
    notes: list[str] = field(default_factory=list)

    @property
    def exit_code(self) -> int:
        """0 all good, 1 something was set aside in this pass, 2 lines of the tray list are wrong."""
        if self.list_problems:
            return LIST_WRONG
        return SOME_SET_ASIDE if self.set_aside or self.problems else ALL_GOOD

    def add(self, done: TakenIn) -> None:
        """Count what was done."""
        self.read += done.read
        self.known += done.known
        self.waiting += done.waiting
        self.gone += done.gone
        self.set_aside += done.set_aside


def one_pass(
    folder: Path | None = None,
    *,
    store: str | None = None,
    trays: Path | None = None,
    settings: Path | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    clock: Callable[[], int] = time.time_ns,
) -> Night:
    """Take in what is new in a farm's folder of photos and the folders below it.

    It may be ended at any instant, by whatever means: a photo's readings and the note that it is done with are kept in
    one transaction, so that the next pass goes on where this one ended.

    Parameters
    ----------
    folder, store, trays, settings
        As of `canopy.nightly.farm.find_farm`. Photos are only read, and their folder is not written to unless the store
        lies in it.
    workers : int, optional
        Processes that read photos, each bounded in memory and time; 0 for as many as there are cores, None for this
        process and no bounds. The tables are the same for any number.
    scheduler : str, optional
        Address of a Dask cluster, whose workers read the photos instead.
    clock : callable
        Nanoseconds since 1970; only for whether a new file is at rest, and for the record.

    Raises
    ------
    StoreBusy
        Another pass is running.
    StoreError
        The store cannot be opened or written.
    UsageError
        The folder, its tray list or settings cannot be used.
    """
    farm = find_farm(folder, store=store, trays=trays, settings=settings)
    rules, place = read_rules(farm), farm.place()
    wait_s = farm.settings.store.busy_timeout_s
    with (
        opened(farm.store, busy_timeout_s=wait_s, make=True) as kept,
        one_at_a_time(kept),
        hands(workers, farm.settings, scheduler=scheduler) as by,
    ):
        log, began = Log(farm.file(farm.settings.nightly.log), clock), clock()
        night = Night(kept.name, list_problems=tuple(rules.trays.problems))
        _go_through(night, Intake(kept, rules, clock, place, by, log))
        night.notes += _told(farm, kept, clock)
        if night.read or night.set_aside or night.problems or night.notes:
            log.note("pass", **_figures(night), problems=night.problems, notes=night.notes)
        night.notes += [log.problem] if log.problem else []
        night.notes += _measured(farm, kept, night, clock() - began, clock())
    return night


def store_of(folder: Path | None, *, store: str | None, settings: Path | None) -> tuple[str, float]:
    """Where the readings of a farm are kept, and how many seconds to wait for another writer; nothing is opened.

    Raises
    ------
    UsageError
        The settings cannot be used.
    """
    farm = find_farm(folder, store=store, settings=settings)
    return farm.store, farm.settings.store.busy_timeout_s


def _figures(night: Night) -> dict[str, int]:
    return {
        "read": night.read,
        "known": night.known,
        "waiting": night.waiting,
        "gone": night.gone,
        "set_aside": len(night.set_aside),
    }


def _measured(farm: Farm, store: Store, night: Night, took_ns: int, now_ns: int) -> list[str]:
    """Write the figures for Prometheus; what a person should know comes back."""
    path = farm.file(farm.settings.nightly.metrics)
    if path is None:
        return []
    when = Metric("canopy_pass_timestamp_seconds", "When the last pass ended.", [({}, now_ns / NS)])
    took = Metric("canopy_pass_seconds", "How long the last pass took.", [({}, took_ns / NS)])
    each = [({"what": name}, float(value)) for name, value in _figures(night).items()]
    last = Metric("canopy_pass_files", "Files of the last pass by what became of them.", each)
    try:
        write_metrics(path, [when, took, last, *of_store(store)])
    except OSError as error:
        return [f"{path}: cannot be written ({error.strerror}); check the folder's rights"]
    except CanopyError as error:
        return [str(error)]
    return []


def _told(farm: Farm, store: Store, clock: Callable[[], int]) -> list[str]:
    """Tell people; what goes wrong there is said and stops nothing, since the readings are kept."""
    try:
        return tell(farm, store, now_ns=clock())
    except CanopyError as error:
        return [str(error)]


def _go_through(night: Night, intake: Intake) -> None:
    store, rules = intake.store, intake.rules
    with store.reading() as connection:
        states = ledger.folder_states(connection)
    seen = set()
    for listing in intake.place.listings():
        seen.add(listing.folder)
        if listing.problem:
            night.problems.append(listing.problem)
            seen |= {known for known in states if known.startswith(f"{listing.folder}/")}
            continue
        _refuse_lost_root(listing, states, intake.place)
        if states.get(listing.folder) in {(listing.checksum, ""), (listing.checksum, rules.checksum)}:
            night.known += len(listing.entries)
        elif listing.entries or listing.folder in states:
            intake.take_in(listing)
    intake.finish()
    night.add(intake.done)
    night.problems += intake.place.troubles
    lost = sorted(set(states) - seen)
    if lost:
        with store.writing() as connection:
            ledger.forget_folders(connection, lost)


def _refuse_lost_root(listing: Listing, states: dict[str, tuple[str, str]], place: Place) -> None:
    """A share that is not mounted looks like an empty folder; nothing is forgotten for that."""
    if not listing.folder and states and place.is_empty():
        raise UsageError(f"{place.name}: is empty, but photos are known in it; check that it is mounted")
