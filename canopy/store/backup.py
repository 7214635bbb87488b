"""A copy of a SQLite store as it is at one instant, taken while others go on writing."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from canopy.errors import StoreError

_PART = ".part"


def back_up(store: Path, copy: Path) -> None:
    """Copy a store; the copy gets its name only when it is whole and has been checked.

    Parameters
    ----------
    store : pathlib.Path
    copy : pathlib.Path
        Must not be there yet.

    Raises
    ------
    StoreError
        There is no such store, the copy is there already, cannot be written or is damaged.
    """
    if not store.is_file():
        raise StoreError(f"{store}: no such store; check the path")
    if copy.exists():
        raise StoreError(f"{copy}: is there already and is not overwritten; choose another name")
    part = copy.with_name(copy.name + _PART)
    try:
        part.unlink(missing_ok=True)
        _copy(store, part)
        part.replace(copy)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(f"{copy}: cannot be written ({error}); make room or choose another place") from None
    finally:
        part.unlink(missing_ok=True)


def _copy(store: Path, part: Path) -> None:
    source, target = sqlite3.connect(store), sqlite3.connect(part)
    try:
        source.backup(target)
        # One file is easier to carry than three: the copy keeps no write-ahead log beside it.
        target.execute("PRAGMA journal_mode = DELETE")
        said = target.execute("PRAGMA quick_check").fetchone()[0]
    finally:
        target.close()
        source.close()
    if said != "ok":
        raise StoreError(f"{store}: is damaged ({said}); put back an earlier backup")
