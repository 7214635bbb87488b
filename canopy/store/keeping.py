"""Which photos may be deleted as far as the store is concerned, and which were."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, delete, func, insert, select

from canopy.store.ledger import READ, File
from canopy.store.schema import CLEARED, CORRECTIONS, FILES, PHOTOS, READINGS


@dataclass(frozen=True)
class Settled:
    """A file whose photo has given all its readings.

    Attributes
    ----------
    file : File
    read_at : str
        When the newest of its readings was made; ISO 8601, UTC.
    """

    file: File
    read_at: str


def settled(connection: Connection) -> list[Settled]:
    """Files, by folder and name, whose photos gave a reading of every tray and were never corrected by a person.

    What people corrected is kept: it is needed to make the reading anew with their word.
    """
    newest = func.max(READINGS.c.recorded_at)
    read = select(READINGS.c.photo_sha256, newest.label("read_at")).group_by(READINGS.c.photo_sha256).subquery()
    joined = FILES.join(PHOTOS, FILES.c.sha256 == PHOTOS.c.sha256).join(read, read.c.photo_sha256 == FILES.c.sha256)
    corrected = select(CORRECTIONS.c.photo_sha256)
    wanted = select(*FILES.c, read.c.read_at).select_from(joined).where(PHOTOS.c.state == READ)
    rows = connection.execute(wanted.where(FILES.c.sha256.not_in(corrected)).order_by(FILES.c.folder, FILES.c.name))
    return [Settled(File(*row[:-1]), row[-1]) for row in rows]


def read_paths(connection: Connection) -> set[str]:
    """Paths of all photos that gave a reading of every tray, as when they were read and as their files are now."""
    then = connection.execute(select(PHOTOS.c.path).where(PHOTOS.c.state == READ)).scalars()
    return {*then, *(one.file.path for one in settled(connection))}


def note_cleared(connection: Connection, sha256: str, path: str, *, cleared_at: str) -> None:
    """Note that a photo's file was deleted because it was due."""
    connection.execute(delete(CLEARED).where(CLEARED.c.sha256 == sha256))
    connection.execute(insert(CLEARED).values(sha256=sha256, path=path, cleared_at=cleared_at))


def cleared(connection: Connection) -> set[str]:
    """Contents whose files were deleted because they were due."""
    return set(connection.execute(select(CLEARED.c.sha256)).scalars())
