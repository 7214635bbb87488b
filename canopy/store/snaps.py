"""Photos that were sent from a phone, and what became of them; keys by which a thing sent twice counts once."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from sqlalchemy import Connection, insert, select, update
from sqlalchemy.exc import IntegrityError

from canopy.store.schema import DONE_KEYS, SNAPS

WAITING, READ, WHICH_TRAY, SET_ASIDE = "waiting", "read", "which_tray", "set_aside"
"""States of a photo sent: to be measured, measured, waiting for a person to name the tray, not usable."""


@dataclass(frozen=True)
class Snap:
    """A photo that was sent.

    Attributes
    ----------
    key : str
        Given by the phone.
    sha256 : str
        Of the photo's bytes.
    kind : str
        `jpeg`, `png`, … by content.
    by, sent_at : str
        Who and when (ISO 8601, UTC).
    taken_by_file : str or None
        The file's own date, ISO 8601.
    chosen : str
        Tray that the person named; empty: the label in the photo says it.
    tray : str
        Tray that it was measured as; empty while unknown.
    state : str
    reason : str
        A code of `canopy.reasons`, where it was set aside.
    message : str
    """

    key: str
    sha256: str
    kind: str
    by: str
    sent_at: str
    taken_by_file: str | None = None
    chosen: str = ""
    tray: str = ""
    state: str = WAITING
    reason: str = ""
    message: str = ""


def add_snap(connection: Connection, snap: Snap) -> bool:
    """Note a photo that came in; False when one of the same key did before, and nothing is changed."""
    if snap_of(connection, snap.key) is not None:
        return False
    connection.execute(insert(SNAPS).values(asdict(snap)))
    return True


def snap_of(connection: Connection, key: str) -> Snap | None:
    """The photo sent under a key."""
    row = connection.execute(select(SNAPS).where(SNAPS.c.key == key)).first()
    return Snap(**row._mapping) if row is not None else None


def change_snap(connection: Connection, snap: Snap) -> None:
    """Write what has become of a photo that was sent."""
    connection.execute(update(SNAPS).where(SNAPS.c.key == snap.key).values(asdict(snap)))


def waiting(connection: Connection) -> list[str]:
    """Keys of the photos that are to be measured, oldest first."""
    wanted = select(SNAPS.c.key).where(SNAPS.c.state == WAITING).order_by(SNAPS.c.sent_at, SNAPS.c.key)
    return list(connection.execute(wanted).scalars())


def recent(connection: Connection, *, most: int, by: str | None = None) -> list[Snap]:
    """Photos sent last, newest first; only one person's where one is named."""
    wanted = select(SNAPS).order_by(SNAPS.c.sent_at.desc(), SNAPS.c.key).limit(most)
    if by is not None:
        wanted = wanted.where(SNAPS.c.by == by)
    return [Snap(**row._mapping) for row in connection.execute(wanted)]


def first_time(connection: Connection, key: str, *, at: str, by: str, what: str) -> bool:
    """Take a key; False when it was taken before: what it stands for is done already."""
    try:
        with connection.begin_nested():
            connection.execute(insert(DONE_KEYS).values(key=key, at=at, by=by, what=what))
    except IntegrityError:
        return False
    return True
