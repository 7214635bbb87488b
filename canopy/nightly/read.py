"""A photo's bytes, taken only when the file stays as it is from the first look to the last."""

from __future__ import annotations

import errno
import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from canopy.nightly.look import Entry, changed_ns

_GONE = frozenset({errno.ENOENT, errno.ENOTDIR, errno.ESTALE})


@dataclass(frozen=True)
class Taken:
    """What came of reading a file.

    Attributes
    ----------
    state : str
        `whole`; `changing`: not as it was listed, or changed meanwhile; `gone`; `unreadable`.
    data : bytes
        Of a whole file.
    message : str
        Why a file is unreadable.
    """

    state: Literal["whole", "changing", "gone", "unreadable"]
    data: bytes = b""
    message: str = ""


def take(path: Path, entry: Entry) -> Taken:
    """Read a file as it was listed."""
    try:
        # Without blocking: a pipe put in the photo's place would never begin to give anything.
        with os.fdopen(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC), "rb") as file:
            if not _is(entry, os.fstat(file.fileno())):
                return Taken("changing")
            data = file.read()
            after = os.fstat(file.fileno())
    except OSError as error:
        if error.errno in _GONE:
            return Taken("gone")
        return Taken("unreadable", message=error.strerror or str(error))
    return Taken("whole", data) if _is(entry, after) and len(data) == entry.size else Taken("changing")


def _is(entry: Entry, seen: os.stat_result) -> bool:
    return stat.S_ISREG(seen.st_mode) and (seen.st_size, changed_ns(seen)) == (entry.size, entry.mtime_ns)
