"""The store against the folder: is every photo still there as it was read, and is every file accounted for?"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field

from sqlalchemy import Connection

from canopy.batch.folder import SNAPS
from canopy.nightly.look import Entry
from canopy.nightly.place import Place
from canopy.store import keeping, ledger
from canopy.store.database import Store
from canopy.store.ledger import File


@dataclass
class Checked:
    """What a check found; paths below the folder.

    Attributes
    ----------
    files : int
        Files that are as the store has them.
    absent : list of str
        Known files that are no longer there.
    changed : list of str
        Files that are not as they were read: of another size, time or, where bytes were compared, content.
    new : list of str
        Files that no pass has taken in yet, or that no pass could read.
    unseen : list of str
        Photos of the store of which no file is known, those left out that `canopy tidy` deleted.
    damage : list of str
        What the database says of itself; readings without rows.
    """

    files: int = 0
    absent: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    new: list[str] = field(default_factory=list)
    unseen: list[str] = field(default_factory=list)
    damage: list[str] = field(default_factory=list)

    @property
    def exit_code(self) -> int:
        """0: all is as the store has it; 1: something is not."""
        return int(bool(self.absent or self.changed or self.new or self.unseen or self.damage))


def check(place: Place, store: Store, *, compare_bytes: bool) -> Checked:
    """Compare the store with the place of the photos; nothing is changed.

    Parameters
    ----------
    place : Place
    store : Store
    compare_bytes : bool
        Read every file again and compare its SHA-256, instead of size and time alone.

    Raises
    ------
    StoreError
        The store cannot be read.
    UsageError
        It cannot be listed.
    """
    found = Checked()
    with store.reading() as connection:
        found.damage += damage(connection)
        known = {file.path: file for file in ledger.all_files(connection)}
        with_files = {file.sha256 for file in known.values()} | keeping.cleared(connection)
        without = [photo.path for photo in ledger.photos(connection) if photo.sha256 not in with_files]
    # Photos from phones are no files that cameras fill in: being there is all that is asked of them.
    found.unseen += [path for path in without if not (path.startswith(f"{SNAPS}/") and place.holds(path))]
    for path, entry in _entries(place):
        file = known.pop(path, None)
        if file is None or file.sha256 is None:
            found.new.append(path)
        elif _is_as_read(place, entry, file, compare_bytes=compare_bytes):
            found.files += 1
        else:
            found.changed.append(path)
    found.absent += sorted(known)
    return found


def _entries(place: Place) -> Iterator[tuple[str, Entry]]:
    for listing in place.listings():
        below = f"{listing.folder}/" if listing.folder else ""
        yield from ((below + entry.name, entry) for entry in listing.entries)


def _is_as_read(place: Place, entry: Entry, file: File, *, compare_bytes: bool) -> bool:
    if (entry.size, entry.mtime_ns) != (file.size, file.mtime_ns):
        return False
    if not compare_bytes:
        return True
    taken = place.take(file.path, entry)
    return taken.state == "whole" and hashlib.sha256(taken.data).hexdigest() == file.sha256


def damage(connection: Connection) -> list[str]:
    """What the database says of itself, and readings that lack their rows."""
    said = []
    if connection.dialect.name == "sqlite":
        said += [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check") if row[0] != "ok"]
        said += [
            f"{row[0]}: a row without its {row[2]}" for row in connection.exec_driver_sql("PRAGMA foreign_key_check")
        ]
    lacking = connection.exec_driver_sql(
        "SELECT photo, tray FROM readings WHERE cells <> (SELECT count(*) FROM cells WHERE reading_id = readings.id)"
    )
    said += [f"{row[0]}, tray {row[1]}: its reading lacks cells" for row in lacking]
    read_without = connection.exec_driver_sql(
        "SELECT path FROM photos WHERE state = 'read' AND sha256 NOT IN (SELECT photo_sha256 FROM readings)"
    )
    return said + [f"{row[0]}: counts as read and has no reading" for row in read_without]
