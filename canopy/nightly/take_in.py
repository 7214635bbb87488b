"""Photos on their way: read what is new, put readings and ledger into the store, folder noted when all is done."""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import PurePosixPath

from canopy import __version__
from canopy.batch.job import Done, Job, SetAside
from canopy.nightly.log import Log
from canopy.nightly.look import Entry, Listing
from canopy.nightly.place import Place
from canopy.nightly.pool import Hands, Task
from canopy.nightly.rules import Rules
from canopy.nightly.sort_out import ToDo, sort_out
from canopy.nightly.when import NS, utc_text
from canopy.store import ledger, outbox
from canopy.store.database import Store
from canopy.store.ledger import PARTLY, READ, SET_ASIDE, File, Photo
from canopy.store.outbox import Aside
from canopy.store.readings import Origin, put_reading, trays_read

_MB = 1_000_000


@dataclass
class TakenIn:
    """What was done; the counts of `canopy.nightly.night.Night`."""

    read: int = 0
    known: int = 0
    waiting: int = 0
    gone: int = 0
    set_aside: list[SetAside] = field(default_factory=list)


@dataclass
class Intake:
    """Takes folders in, one after the other; photos are worked on beside each other and kept in their order.

    Attributes
    ----------
    store : Store
    rules : Rules
    clock : callable
        Nanoseconds since 1970.
    place : Place
        Where the photos come from.
    hands : Hands
        Whoever reads the photos.
    log : Log
        Where it is noted what became of each.
    done : TakenIn
        Of all that has been kept.
    """

    store: Store
    rules: Rules
    clock: Callable[[], int]
    place: Place
    hands: Hands
    log: Log
    done: TakenIn = field(default_factory=TakenIn)
    _steps: deque[Callable[[], None]] = field(default_factory=deque)  # what is still to be kept, in order
    _under_way: set[str] = field(default_factory=set)  # contents among them

    def take_in(self, listing: Listing) -> None:
        """Begin with all that a folder asks for."""
        _Folder(listing, self).take_in()

    def finish(self) -> None:
        """Wait for all that was begun, and keep it."""
        self._keep(until=0)

    def begin(self, sha256: str, task: Task, keep: Callable[[], None]) -> None:
        """Hand a photo on; when its turn comes it is kept."""
        self.hands.give(task)
        self._under_way.add(sha256)
        self._steps.append(keep)
        self._keep(until=self.hands.ahead)

    def later(self, step: Callable[[], None]) -> None:
        """Do something after all that was begun before."""
        self._steps.append(step)
        if not self._under_way:
            self.finish()

    def wait_for(self, sha256: str) -> None:
        """Wait until nothing of this content is under way: a copy asks what became of the first."""
        if sha256 in self._under_way:
            self.finish()

    def ended(self, sha256: str) -> None:
        """Note that a content is kept."""
        self._under_way.discard(sha256)

    def _keep(self, *, until: int) -> None:
        while len(self._steps) > until:
            self._steps.popleft()()


@dataclass
class _Folder:
    """One folder while it is taken in."""

    listing: Listing
    intake: Intake
    all_done: bool = True
    refused: list[SetAside] = field(default_factory=list)  # files that cannot be read, told for the first time
    copies: list[File] = field(default_factory=list)  # of known contents; losing them costs one more look

    def take_in(self) -> None:
        rules, done = self.intake.rules, self.intake.done
        with self.intake.store.reading() as connection:
            known = {file.name: (file, state) for file, state in ledger.files_in(connection, self.listing.folder)}
        settings = rules.configuration.settings.store
        todo = sort_out(
            self.listing,
            known,
            now_ns=self.intake.clock(),
            settle_ns=round(settings.settle_s * NS),
            circumstances=lambda entry: rules.tried_with(rules.jobs(self._path(entry))),
        )
        done.known += todo.known
        done.gone += len(todo.gone)
        wrong = [self._refused(entry, _unopened(entry.wrong), known) for entry in todo.wrong]
        for entry in todo.read:
            if entry.size > settings.photo_max_mb * _MB:
                limit = f"over photo_max_mb = {settings.photo_max_mb:g}; move it away or raise the limit"
                said = f"is {entry.size / _MB:.0f} MB, {limit}"
                wrong.append(self._refused(entry, said, known, code="file_too_large"))
            else:
                wrong += self._read(entry, known)
        self.intake.later(partial(self._finish, todo, wrong))

    def _read(self, entry: Entry, known: dict[str, tuple[File, str | None]]) -> list[File]:
        """Read a file and begin with what its content asks for; the file comes back when it cannot be read."""
        taken = self.intake.place.take(self._path(entry), entry)
        if taken.state == "unreadable":
            self.all_done = False  # only trying tells whether it can be read by now
            return [self._refused(entry, _unopened(taken.message), known)]
        if taken.state == "whole":
            self._content(entry, taken.data, hashlib.sha256(taken.data).hexdigest())
        elif taken.state == "changing":
            self.all_done = False
            self.intake.done.waiting += 1
        return []

    def _content(self, entry: Entry, data: bytes, sha256: str) -> None:
        rules = self.intake.rules
        jobs = rules.jobs(self._path(entry))
        tried_with = rules.tried_with(jobs)
        file = File(self.listing.folder, entry.name, entry.size, entry.mtime_ns, sha256, tried_with)
        self.intake.wait_for(sha256)
        with self.intake.store.reading() as connection:
            photo = ledger.photo_of(connection, sha256)
            tried = photo is not None and (photo.state == READ or ledger.was_tried(connection, sha256, tried_with))
            trays = trays_read(connection, sha256) if photo is not None else set()
        if tried:
            self.copies.append(file)
            self.intake.done.known += 1
            return
        left = tuple(job for job in jobs if not (isinstance(job, Job) and job.record.tray in trays))
        task = Task(left, data, entry)
        self.intake.begin(sha256, task, partial(self._keep, file, task, any_read=bool(trays)))

    def _keep(self, file: File, task: Task, *, any_read: bool) -> None:
        """Wait for what comes of a photo and put it into the store, whole."""
        assert file.sha256 is not None
        outcomes = list(zip(task.jobs, self.intake.hands.outcomes(task), strict=True))
        task.data = b""
        done = [(job, outcome) for job, outcome in outcomes if isinstance(outcome, Done)]
        aside = [outcome for _, outcome in outcomes if isinstance(outcome, SetAside)]
        with self.intake.store.writing() as connection:
            ledger.put_photo(connection, _photo(file, aside, any_read=bool(done) or any_read))
            for job, outcome in done:
                put_reading(connection, outcome.reading, self._origin(file.sha256, job))
            ledger.put_files(connection, [*self.copies, file])
            outbox.note_asides(connection, self._noted(aside))
        self.copies = []
        self.intake.ended(file.sha256)
        for job, _ in done:
            self.intake.log.note("read", photo=file.path, tray=_tray(job), sha256=file.sha256)
        self._log(aside)
        self.intake.done.read += bool(done)
        self.intake.done.set_aside += aside

    def _log(self, aside: list[SetAside]) -> None:
        for one in aside:
            self.intake.log.note("set aside", **vars(one))

    def _origin(self, sha256: str, job: Job | SetAside) -> Origin:
        rules = self.intake.rules
        now = utc_text(self.intake.clock())
        return Origin(sha256, rules.configuration.fingerprint, __version__, rules.made_with(job), now)

    def _noted(self, aside: list[SetAside]) -> list[Aside]:
        now = utc_text(self.intake.clock())
        return [Aside(now, one.photo, one.tray, one.code, one.message) for one in aside]

    def _refused(
        self, entry: Entry, said: str, known: dict[str, tuple[File, str | None]], *, code: str = "cannot_open"
    ) -> File:
        """The note of a file that cannot be read; told when it is not known yet."""
        path = self._path(entry)
        message = f"{path}: {said}"
        file = File(self.listing.folder, entry.name, entry.size, entry.mtime_ns, None, None, code, message)
        if known.get(entry.name, (None,))[0] != file:
            self.refused.append(SetAside(path, "", code, message))
        return file

    def _finish(self, todo: ToDo, wrong: list[File]) -> None:
        """Note what is left, and the whole folder when nothing is."""
        folder, rules = self.listing.folder, self.intake.rules
        waiting = [File(folder, entry.name, entry.size, entry.mtime_ns) for entry in todo.waiting]
        self.intake.done.waiting += len(waiting)
        self.intake.done.set_aside += self.refused
        with self.intake.store.writing() as connection:
            ledger.forget_files(connection, [(folder, name) for name in todo.gone])
            ledger.put_files(connection, [*self.copies, *wrong, *waiting])
            outbox.note_asides(connection, self._noted(self.refused))
            finished = self.all_done and not waiting
            waits = ledger.any_set_aside(connection, folder) or any(file.reason == "file_too_large" for file in wrong)
            ledger.put_folder(
                connection,
                folder,
                listing=self.listing.checksum if finished else "",
                waits_on=rules.checksum if waits else "",
            )
        self._log(self.refused)

    def _path(self, entry: Entry) -> str:
        return (PurePosixPath(self.listing.folder) / entry.name).as_posix()


def _photo(file: File, aside: list[SetAside], *, any_read: bool) -> Photo:
    """What became of a photo: read, or the first thing that was wrong."""
    first = aside[0] if aside else None
    state = READ if first is None else PARTLY if any_read else SET_ASIDE
    reason, message = (first.code, first.message) if first else (None, None)
    assert file.sha256 is not None
    assert file.tried_with is not None
    return Photo(file.sha256, file.path, file.size, file.mtime_ns, state, reason, message, file.tried_with)


def _tray(job: Job | SetAside) -> str:
    return job.record.tray if isinstance(job, Job) else job.tray


def _unopened(why: str) -> str:
    return f"cannot be opened ({why}); check the file and its rights"
