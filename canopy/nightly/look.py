"""What lies in a folder and the folders below it: names, sizes, times; no file is opened."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from canopy.batch.folder import PHOTO_SUFFIXES, RESULT_FOLDERS, RUN_FILE
from canopy.errors import UsageError
from canopy.store.any_text import to_stored

# PostgreSQL keeps no more than 2704 bytes of a key (its manual, "B-Tree Indexes"); a name takes up to 1530 of them.
_PATH_BYTES_MAX = 1000
# The longest a character can become in the store.
_BYTES_A_CHARACTER = 6
_LATEST_NS = 2**63 - 1
_SUFFIXES = frozenset(suffix.removeprefix(".") for suffix in PHOTO_SUFFIXES)


@dataclass(frozen=True, slots=True)
class Entry:
    """A photo file as its folder shows it.

    Attributes
    ----------
    name : str
    size : int
        Bytes.
    mtime_ns : int
        Time of change, nanoseconds since 1970 by the file system's clock.
    wrong : str
        Why it cannot be read, where that shows already; empty where nothing speaks against it.
    """

    name: str
    size: int
    mtime_ns: int
    wrong: str = ""


@dataclass(frozen=True)
class Listing:
    """Photos straight in one folder.

    Attributes
    ----------
    folder : str
        Path below the given folder, with forward slashes; empty for itself.
    entries : tuple of Entry
        By name.
    problem : str
        Why the folder cannot be listed; empty when it can.
    """

    folder: str
    entries: tuple[Entry, ...]
    problem: str = ""

    @cached_property
    def checksum(self) -> str:
        """The same as long as no name, size or time has changed."""
        digest = hashlib.blake2b(digest_size=16)
        for entry in self.entries:
            line = f"{entry.name}\0{entry.size}\0{entry.mtime_ns}\0{entry.wrong}\0"
            digest.update(line.encode("utf-8", "surrogateescape"))
        return digest.hexdigest()


def listings(root: Path) -> Iterator[Listing]:
    """Every folder from the given one down, always in the same order.

    Hidden files and folders, results of earlier runs, and the folders of pictures that go with them are passed over.
    Links to folders are not followed, so that a loop of links has no end to reach.

    Raises
    ------
    UsageError
        The given folder itself cannot be listed.
    """
    waiting = [""]
    while waiting:
        folder = waiting.pop()
        if _is_too_long(folder):
            yield Listing(
                folder, (), f"{folder}: its path is too long to be kept; move it up, or give it shorter names"
            )
            continue
        try:
            listing, below = _list(root, folder)
        except FileNotFoundError:
            if folder:
                continue  # gone since its name was read
            raise UsageError(f"{root}: no such folder; check the path, and that it is mounted") from None
        except OSError as error:
            if not folder:
                raise UsageError(f"{root}: cannot be listed ({error.strerror}); check its rights") from None
            listing, below = Listing(folder, (), f"{folder}: cannot be listed ({error.strerror}); check its rights"), []
        yield listing
        waiting += sorted(below, reverse=True)


def changed_ns(seen: os.stat_result) -> int:
    """Time of a file's last change, nanoseconds since 1970; dates beyond what databases hold count as the last one."""
    return max(-_LATEST_NS, min(seen.st_mtime_ns, _LATEST_NS))


def _is_too_long(folder: str) -> bool:
    short = len(folder) * _BYTES_A_CHARACTER <= _PATH_BYTES_MAX
    return not short and len(to_stored(folder).encode()) > _PATH_BYTES_MAX


def _list(root: Path, folder: str) -> tuple[Listing, list[str]]:
    """The photos of one folder, and the folders in it that are to be listed."""
    entries: list[Entry] = []
    below: list[str] = []
    names = set()
    with os.scandir(root / folder if folder else root) as found:
        for item in found:
            name = item.name
            names.add(name)
            if name.startswith("."):
                continue
            if item.is_dir(follow_symlinks=False):
                if name not in RESULT_FOLDERS:
                    below.append(f"{folder}/{name}" if folder else name)
            elif name.rpartition(".")[2].lower() in _SUFFIXES and "." in name:
                entry = _entry(item)
                if entry is not None:
                    entries.append(entry)
    if folder and RUN_FILE in names and "cells.csv" in names:
        return Listing(folder, ()), []
    entries.sort(key=lambda entry: entry.name)
    return Listing(folder, tuple(entries)), below


def _entry(item: os.DirEntry[str]) -> Entry | None:
    """The file behind a name; None where there is none any more, or a link to a folder."""
    try:
        seen = item.stat()
    except FileNotFoundError:
        return Entry(item.name, 0, 0, "the link leads nowhere") if item.is_symlink() else None
    except OSError as error:
        return Entry(item.name, 0, 0, error.strerror or "cannot be looked at")
    if stat.S_ISDIR(seen.st_mode):
        return None
    wrong = "" if stat.S_ISREG(seen.st_mode) else "not a regular file"
    return Entry(item.name, seen.st_size, changed_ns(seen), wrong)
