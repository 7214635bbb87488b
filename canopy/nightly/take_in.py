"""The photos of one folder: read what is new, put readings and ledger into the store, folder noted when all is done."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import PurePosixPath

from canopy import __version__
from canopy.batch.job import Done, Job, SetAside
from canopy.nightly.look import Entry, Listing
from canopy.nightly.read import take
from canopy.nightly.rules import Rules
from canopy.nightly.sort_out import ToDo, sort_out
from canopy.store import ledger
from canopy.store.database import Store
from canopy.store.ledger import PARTLY, READ, SET_ASIDE, File, Photo
from canopy.store.readings import Origin, put_reading, trays_read

_NS = 1_000_000_000
_MB = 1_000_000


@dataclass
class FolderDone:
    """What was done in one folder; the counts of `canopy.nightly.night.Night`."""

    read: int = 0
    known: int = 0
    waiting: int = 0
    gone: int = 0
    set_aside: list[SetAside] = field(default_factory=list)


def take_in(listing: Listing, *, store: Store, rules: Rules, clock: Callable[[], int]) -> FolderDone:
    """Do all that a folder asks for.

    Parameters
    ----------
    listing : Listing
    store : Store
    rules : Rules
    clock : callable
        Nanoseconds since 1970.
    """
    return _Folder(listing, store, rules, clock).take_in()


@dataclass
class _Folder:
    """One folder while it is taken in."""

    listing: Listing
    store: Store
    rules: Rules
    clock: Callable[[], int]
    done: FolderDone = field(default_factory=FolderDone)
    all_done: bool = True
    copies: list[File] = field(default_factory=list)  # of known contents; losing them costs one more look

    def take_in(self) -> FolderDone:
        with self.store.reading() as connection:
            known = {file.name: (file, state) for file, state in ledger.files_in(connection, self.listing.folder)}
        settings = self.rules.configuration.settings.store
        todo = sort_out(
            self.listing,
            known,
            now_ns=self.clock(),
            settle_ns=round(settings.settle_s * _NS),
            circumstances=lambda entry: self.rules.tried_with(self.rules.jobs(self._path(entry))),
        )
        self.done.known, self.done.gone = todo.known, len(todo.gone)
        wrong = [self._refused(entry, _unopened(entry.wrong), known) for entry in todo.wrong]
        for entry in todo.read:
            if entry.size > settings.photo_max_mb * _MB:
                limit = f"over photo_max_mb = {settings.photo_max_mb:g}; move it away or raise the limit"
                said = f"is {entry.size / _MB:.0f} MB, {limit}"
                wrong.append(self._refused(entry, said, known, code="file_too_large"))
            else:
                wrong += self._read(entry, known)
        self._finish(todo, wrong)
        return self.done

    def _read(self, entry: Entry, known: dict[str, tuple[File, str | None]]) -> list[File]:
        """Read a file and do what its content asks for; the file comes back when it cannot be read."""
        taken = take(self.rules.root / self._path(entry), entry)
        if taken.state == "unreadable":
            self.all_done = False  # only trying tells whether it can be read by now
            return [self._refused(entry, _unopened(taken.message), known)]
        if taken.state == "whole":
            self._content(entry, taken.data, hashlib.sha256(taken.data).hexdigest())
        elif taken.state == "changing":
            self.all_done = False
            self.done.waiting += 1
        return []

    def _content(self, entry: Entry, data: bytes, sha256: str) -> None:
        jobs = self.rules.jobs(self._path(entry))
        tried_with = self.rules.tried_with(jobs)
        file = File(self.listing.folder, entry.name, entry.size, entry.mtime_ns, sha256, tried_with)
        with self.store.reading() as connection:
            photo = ledger.photo_of(connection, sha256)
            tried = photo is not None and (photo.state == READ or ledger.was_tried(connection, sha256, tried_with))
            trays = trays_read(connection, sha256) if photo is not None else set()
        if tried:
            self.copies.append(file)
            self.done.known += 1
            return
        # Here, since a pass in which nothing is new need not load what measures photos.
        from canopy.nightly.work import outcome as outcome_of

        outcomes = [
            (job, outcome_of(job, data, entry, settings=self.rules.configuration.settings))
            for job in jobs
            if not (isinstance(job, Job) and job.record.tray in trays)
        ]
        done = [(job, outcome) for job, outcome in outcomes if isinstance(outcome, Done)]
        aside = [outcome for _, outcome in outcomes if isinstance(outcome, SetAside)]
        with self.store.writing() as connection:
            ledger.put_photo(connection, self._photo(file, aside, any_read=bool(done or trays)))
            for job, outcome in done:
                put_reading(connection, outcome.reading, self._origin(sha256, job))
            ledger.put_files(connection, [*self.copies, file])
        self.copies = []
        self.done.read += bool(done)
        self.done.set_aside += aside

    def _photo(self, file: File, aside: list[SetAside], *, any_read: bool) -> Photo:
        first = aside[0] if aside else None
        state = READ if first is None else PARTLY if any_read else SET_ASIDE
        reason, message = (first.code, first.message) if first else (None, None)
        assert file.sha256 is not None
        assert file.tried_with is not None
        return Photo(file.sha256, file.path, file.size, file.mtime_ns, state, reason, message, file.tried_with)

    def _origin(self, sha256: str, job: Job | SetAside) -> Origin:
        now = datetime.fromtimestamp(self.clock() // _NS, tz=UTC).isoformat()
        return Origin(sha256, self.rules.configuration.fingerprint, __version__, self.rules.made_with(job), now)

    def _refused(
        self, entry: Entry, said: str, known: dict[str, tuple[File, str | None]], *, code: str = "cannot_open"
    ) -> File:
        """The note of a file that cannot be read; told when it is not known yet."""
        path = self._path(entry)
        message = f"{path}: {said}"
        file = File(self.listing.folder, entry.name, entry.size, entry.mtime_ns, None, None, code, message)
        if known.get(entry.name, (None,))[0] != file:
            self.done.set_aside.append(SetAside(path, "", code, message))
        return file

    def _finish(self, todo: ToDo, wrong: list[File]) -> None:
        """Note what is left, and the whole folder when nothing is."""
        folder = self.listing.folder
        waiting = [File(folder, entry.name, entry.size, entry.mtime_ns) for entry in todo.waiting]
        self.done.waiting += len(waiting)
        with self.store.writing() as connection:
            ledger.forget_files(connection, [(folder, name) for name in todo.gone])
            ledger.put_files(connection, [*self.copies, *wrong, *waiting])
            finished = self.all_done and not waiting
            waits = ledger.any_set_aside(connection, folder) or any(file.reason == "file_too_large" for file in wrong)
            ledger.put_folder(
                connection,
                folder,
                listing=self.listing.checksum if finished else "",
                waits_on=self.rules.checksum if waits else "",
            )

    def _path(self, entry: Entry) -> str:
        return (PurePosixPath(self.listing.folder) / entry.name).as_posix()


def _unopened(why: str) -> str:
    return f"cannot be opened ({why}); check the file and its rights"
