"""What is to be done with the photos of one folder: its listing against what the ledger knows of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from canopy.nightly.look import Entry, Listing
from canopy.store.ledger import READ, File


@dataclass(frozen=True)
class ToDo:
    """What one folder asks for.

    Attributes
    ----------
    read : list of Entry
        New or changed and at rest, or to be tried again, by name.
    waiting : list of Entry
        May still be being copied: left for the next pass.
    wrong : list of Entry
        Cannot be read, as the listing shows already.
    known : int
        Nothing to be done.
    gone : list of str
        Names that are no longer there.
    """

    read: list[Entry]
    waiting: list[Entry]
    wrong: list[Entry]
    known: int
    gone: list[str]


def sort_out(
    listing: Listing,
    known: Mapping[str, tuple[File, str | None]],
    *,
    now_ns: int,
    settle_ns: int,
    circumstances: Callable[[Entry], str],
) -> ToDo:
    """Compare a listing with the ledger.

    A file of known size and time is known, unless its photo was set aside and the circumstances have changed since. A
    file that is new or has changed is read when it is at rest: last changed at least `settle_ns` ago, or seen just so
    by an earlier pass. A time in the future, of a camera or share with a wrong clock, says nothing of rest.

    Parameters
    ----------
    listing : Listing
    known : mapping of name to (File, state of its photo or None)
    now_ns, settle_ns : int
    circumstances : callable
        Checksum of all that the outcome for a file rests on but its content.
    """
    todo = ToDo([], [], [], 0, sorted(set(known) - {entry.name for entry in listing.entries}))
    same = 0
    for entry in listing.entries:
        file, state = known.get(entry.name, (None, None))
        if file is not None and (file.size, file.mtime_ns) != (entry.size, entry.mtime_ns):
            file = None
        if entry.wrong:
            todo.wrong.append(entry)
        elif file is not None and file.sha256 is not None:
            if state == READ or file.tried_with == circumstances(entry):
                same += 1
            else:
                todo.read.append(entry)
        elif file is not None or now_ns - entry.mtime_ns >= settle_ns:
            todo.read.append(entry)
        else:
            todo.waiting.append(entry)
    return ToDo(todo.read, todo.waiting, todo.wrong, same, todo.gone)
