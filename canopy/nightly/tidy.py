"""Deleting pictures that are due: only what the store has whole, and only after looking at every byte again."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from canopy.batch.folder import RUN_FILE
from canopy.batch.results import SET_ASIDE
from canopy.batch.work import MASKS, OVERLAYS
from canopy.errors import StoreError, UsageError
from canopy.nightly.check import damage
from canopy.nightly.farm import Farm
from canopy.nightly.look import Entry
from canopy.nightly.read import take
from canopy.nightly.when import NS, utc_text
from canopy.store import keeping, ledger
from canopy.store.database import Store, opened
from canopy.store.keeping import Settled
from canopy.store.turn import one_at_a_time

_DAY_S = 86_400


@dataclass
class Tidied:
    """What was deleted, or would be.

    Attributes
    ----------
    deleted : list of str
        Paths, photos below their folder, others below the farm's.
    size : int
        Bytes of them.
    kept : list of str
        What is due and stays, with the reason.
    """

    deleted: list[str] = field(default_factory=list)
    size: int = 0
    kept: list[str] = field(default_factory=list)


def tidy(farm: Farm, *, delete: bool, now_ns: int) -> Tidied:
    """Delete photos and overlays that are older than the settings keep them.

    A photo goes only when all its readings are in the store, the store is whole, nobody corrected it, and its file,
    read again now, is byte by byte the one that was read. An overlay or mask goes only when it was drawn in a run over
    the whole farm and its photo's readings are in the store. Links are left.

    Parameters
    ----------
    farm : Farm
    delete : bool
        False: nothing is changed, and it is said what would be.
    now_ns : int
        Nanoseconds since 1970.

    Raises
    ------
    StoreBusy
        A pass is running.
    StoreError
        The store cannot be read or is damaged: then nothing is deleted.
    UsageError
        The photos are on a server.
    """
    if farm.is_remote and farm.settings.nightly.keep.photos_days:
        raise UsageError("photos_days: photos on a server are not deleted from here; use the server's own rules")
    found = Tidied()
    with opened(farm.store, busy_timeout_s=farm.settings.store.busy_timeout_s) as store, one_at_a_time(store):
        with store.reading() as connection:
            wrong = damage(connection)
            files, read = keeping.settled(connection), keeping.read_paths(connection)
        if wrong:
            raise StoreError(f"{store.name}: {wrong[0]}; nothing is deleted before `canopy check` finds it whole")
        for one in files:
            if _is_due(one, farm.settings.nightly.keep.photos_days, now_ns):
                _photo(one, farm, store, found, delete=delete, now_ns=now_ns)
        for path in _pictures(farm.root, read):
            _picture(path, farm, found, delete=delete, now_ns=now_ns)
    return found


def _is_due(one: Settled, days: float, now_ns: int) -> bool:
    """Whether both the file and its newest reading are old enough; a clock that was set wrong once does not do."""
    read_s = datetime.fromisoformat(one.read_at).timestamp()
    return days > 0 and now_ns / NS - max(one.file.mtime_ns / NS, read_s) > days * _DAY_S


def _photo(one: Settled, farm: Farm, store: Store, found: Tidied, *, delete: bool, now_ns: int) -> None:
    file = one.file
    path = farm.photos / file.path
    if path.is_symlink():
        found.kept.append(f"{file.path}: a link")
        return
    taken = take(path, Entry(file.name, file.size, file.mtime_ns))
    if taken.state == "gone":
        return
    if taken.state != "whole" or hashlib.sha256(taken.data).hexdigest() != file.sha256:
        found.kept.append(f"{file.path}: is not as it was read")
        return
    if delete:
        # Noted first: a program that ends in between has lost nothing, and the next one deletes what is left.
        with store.writing() as connection:
            keeping.note_cleared(connection, file.sha256 or "", file.path, cleared_at=utc_text(now_ns))
        if not _unlinked(path, file.path, found):
            return
        with store.writing() as connection:
            ledger.forget_files(connection, [(file.folder, file.name)])
    found.deleted.append(file.path)
    found.size += file.size


def _pictures(root: Path, read: set[str]) -> Iterator[Path]:
    """Overlays and masks of results below the farm's folder whose photos' readings are in the store."""
    for here, folders, files in os.walk(root):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        if RUN_FILE not in files:
            continue
        for name in _stems(Path(here) / RUN_FILE, read):
            for path in (Path(here) / OVERLAYS / f"{name}.jpg", Path(here) / MASKS / f"{name}.png"):
                if path.is_file() and not path.is_symlink():
                    yield path


def _stems(run_file: Path, read: set[str]) -> list[str]:
    """Names of the pictures of a run whose photos' readings are in the store."""
    try:
        photos = json.loads(run_file.read_text(encoding="utf-8", errors="surrogateescape"))["photos"]
        pairs = [(one["photo"], one["stem"]) for one in photos if one["status"] != SET_ASIDE]
    except (OSError, ValueError, KeyError, TypeError):
        return []  # another program's file of that name
    return [stem for photo, stem in pairs if photo in read]


def _picture(path: Path, farm: Farm, found: Tidied, *, delete: bool, now_ns: int) -> None:
    days, seen = farm.settings.nightly.keep.overlays_days, path.stat()
    if not days or now_ns / NS - seen.st_mtime <= days * _DAY_S:
        return
    name = path.relative_to(farm.root).as_posix()
    if not delete or _unlinked(path, name, found):
        found.deleted.append(name)
        found.size += seen.st_size


def _unlinked(path: Path, name: str, found: Tidied) -> bool:
    try:
        path.unlink()
    except OSError as error:
        found.kept.append(f"{name}: cannot be deleted ({error.strerror})")
        return False
    return True
