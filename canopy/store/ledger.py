"""What became of each photo, file and folder: which contents are known, where they lie, what is waited for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy import Connection, bindparam, delete, func, insert, select, update

from canopy.store.schema import FILES, FOLDERS, PHOTOS, READINGS

READ, PARTLY, SET_ASIDE = "read", "partly", "set_aside"
"""States of a photo: all its trays gave a reading, some did, none did."""


@dataclass(frozen=True)
class Photo:
    """A photo's content.

    Attributes
    ----------
    sha256 : str
    path : str
        Below the folder, as when it was worked through.
    size, mtime_ns : int
        Bytes; time of change of that file, nanoseconds since 1970.
    state : str
        `READ`, `PARTLY` or `SET_ASIDE`.
    reason, message : str or None
        Why it (or one of its trays) was set aside.
    tried_with : str
        Checksum of all that the outcome rests on but the photo.
    """

    sha256: str
    path: str
    size: int
    mtime_ns: int
    state: str
    reason: str | None
    message: str | None
    tried_with: str


@dataclass(frozen=True)
class File:
    """A file as it was last seen.

    Attributes
    ----------
    folder, name : str
        Folder below the given one, with forward slashes, empty for itself.
    size, mtime_ns : int
    sha256 : str or None
        None: not read yet, or not readable.
    tried_with : str or None
        As of `Photo`, for this file's own name.
    reason, message : str or None
        Why the file cannot be read.
    """

    folder: str
    name: str
    size: int
    mtime_ns: int
    sha256: str | None = None
    tried_with: str | None = None
    reason: str | None = None
    message: str | None = None

    @property
    def path(self) -> str:
        """Path below the given folder."""
        return f"{self.folder}/{self.name}" if self.folder else self.name


def photo_of(connection: Connection, sha256: str) -> Photo | None:
    """The photo of a content; None when it was never seen."""
    row = connection.execute(select(PHOTOS).where(PHOTOS.c.sha256 == sha256)).first()
    return Photo(**row._mapping) if row is not None else None


def was_tried(connection: Connection, sha256: str, tried_with: str) -> bool:
    """Whether a content was already worked through under these circumstances, under any of its names."""
    photo = select(PHOTOS.c.sha256).where(PHOTOS.c.sha256 == sha256, PHOTOS.c.tried_with == tried_with)
    file = select(FILES.c.sha256).where(FILES.c.sha256 == sha256, FILES.c.tried_with == tried_with)
    return connection.execute(photo.union_all(file).limit(1)).first() is not None


def put_photo(connection: Connection, photo: Photo) -> None:
    """Write what became of a photo, over what was known of the same content."""
    values = asdict(photo)
    changed = connection.execute(update(PHOTOS).where(PHOTOS.c.sha256 == photo.sha256).values(values))
    if changed.rowcount == 0:
        connection.execute(insert(PHOTOS).values(values))


def photos(connection: Connection, *, state: str | None = None) -> list[Photo]:
    """All photos, by path and content."""
    wanted = select(PHOTOS).order_by(PHOTOS.c.path, PHOTOS.c.sha256)
    if state is not None:
        wanted = wanted.where(PHOTOS.c.state == state)
    return [Photo(**row._mapping) for row in connection.execute(wanted)]


def files_in(connection: Connection, folder: str) -> list[tuple[File, str | None]]:
    """Files of one folder, each with its photo's state (None where it has none)."""
    joined = FILES.outerjoin(PHOTOS, FILES.c.sha256 == PHOTOS.c.sha256)
    wanted = select(*FILES.c, PHOTOS.c.state).select_from(joined).where(FILES.c.folder == folder)
    return [(File(*row[:-1]), row[-1]) for row in connection.execute(wanted)]


def newest_reading(connection: Connection) -> str | None:
    """When the newest reading was made, ISO 8601 in UTC; None before the first."""
    return connection.execute(select(func.max(READINGS.c.recorded_at))).scalar()


def counts(connection: Connection) -> tuple[dict[str, int], dict[str, int]]:
    """Photos of each state, and photos set aside, wholly or in part, of each reason."""
    state, reason, number = PHOTOS.c.state, PHOTOS.c.reason, func.count()
    by_state = {row[0]: row[1] for row in connection.execute(select(state, number).group_by(state))}
    aside = select(reason, number).where(reason.is_not(None)).group_by(reason)
    return by_state, {row[0]: row[1] for row in connection.execute(aside)}


def any_set_aside(connection: Connection, folder: str) -> bool:
    """Whether a file of the folder holds a photo that was set aside, wholly or for one of its trays."""
    joined = FILES.join(PHOTOS, FILES.c.sha256 == PHOTOS.c.sha256)
    aside = PHOTOS.c.state.in_([SET_ASIDE, PARTLY])
    wanted = select(FILES.c.name).select_from(joined).where(FILES.c.folder == folder, aside).limit(1)
    return connection.execute(wanted).first() is not None


def all_files(connection: Connection) -> list[File]:
    """Every file, by folder and name."""
    return [File(*row) for row in connection.execute(select(FILES).order_by(FILES.c.folder, FILES.c.name))]


def files_of(connection: Connection, sha256: str) -> list[File]:
    """Files of one content, by folder and name."""
    wanted = select(FILES).where(FILES.c.sha256 == sha256).order_by(FILES.c.folder, FILES.c.name)
    return [File(*row) for row in connection.execute(wanted)]


def changed_after(connection: Connection, mtime_ns: int) -> list[tuple[str, str, int]]:
    """Folder, name and time of change of every file changed after a moment, oldest first."""
    wanted = select(FILES.c.folder, FILES.c.name, FILES.c.mtime_ns).where(FILES.c.mtime_ns > mtime_ns)
    return [(row[0], row[1], row[2]) for row in connection.execute(wanted.order_by(FILES.c.mtime_ns, FILES.c.name))]


def put_files(connection: Connection, files: Sequence[File]) -> None:
    """Write how files were last seen, over what was known of the same names."""
    if files:
        forget_files(connection, [(file.folder, file.name) for file in files])
        connection.execute(insert(FILES), [asdict(file) for file in files])


def forget_files(connection: Connection, places: Sequence[tuple[str, str]]) -> None:
    """Forget files, by folder and name, that are no longer there; what their photos gave stays."""
    if places:
        one = delete(FILES).where(FILES.c.folder == bindparam("of_folder"), FILES.c.name == bindparam("of_name"))
        connection.execute(one, [{"of_folder": folder, "of_name": name} for folder, name in places])


def folder_states(connection: Connection) -> dict[str, tuple[str, str]]:
    """Of each folder: checksum of the listing that is done with, and what its set-aside files were tried with."""
    rows: Any = connection.execute(select(FOLDERS))
    return {row.folder: (row.listing, row.waits_on) for row in rows}


def put_folder(connection: Connection, folder: str, *, listing: str, waits_on: str = "") -> None:
    """Note that everything in a folder, as listed, is done with; an empty `listing`: not everything is."""
    connection.execute(delete(FOLDERS).where(FOLDERS.c.folder == folder))
    connection.execute(insert(FOLDERS).values(folder=folder, listing=listing, waits_on=waits_on))


def forget_folders(connection: Connection, folders: Iterable[str]) -> None:
    """Forget folders that are no longer there, and the files in them."""
    for folder in folders:
        connection.execute(delete(FILES).where(FILES.c.folder == folder))
        connection.execute(delete(FOLDERS).where(FOLDERS.c.folder == folder))
