"""The same picture twice: equal files before they are worked through, near copies after; each is measured once."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from canopy.batch.job import Done, Job, SetAside
from canopy.photo.likeness import differing_bits
from canopy.settings import PhotoSettings


def without_equal_files(jobs: Sequence[Job | SetAside]) -> list[Job | SetAside]:
    """Set aside every job whose file equals, byte by byte, that of an earlier one.

    One picture that shows two trays is worked through twice: listed on two lines by its own name, or as a copy whose
    line gives other corners. Only files of equal size are read, so that a folder without copies costs one look at each
    file's size.
    """
    paths = {job.source.path for job in jobs if isinstance(job, Job)}
    sizes = Counter(_size(path) for path in paths)
    first: dict[tuple[bytes, object], Job] = {}
    kept: list[Job | SetAside] = []
    for job in jobs:
        size = _size(job.source.path) if isinstance(job, Job) else 0
        # Empty files are told for what they are.
        if not isinstance(job, Job) or size <= 0 or sizes[size] < 2 or (digest := _digest(job.source.path)) is None:
            kept.append(job)
            continue
        earlier = first.setdefault((digest, job.record.corners_px), job)
        same = earlier.source.path == job.source.path
        kept.append(job if same else _aside(job.source.name, job.record.tray, earlier, "is the same file as"))
    return kept


def _aside(photo: str, tray: str, earlier: Job, how: str) -> SetAside:
    other = "" if earlier.record.tray == tray else f", listed as tray {earlier.record.tray}"
    return SetAside(photo, tray, "duplicate", f"{photo}: {how} {earlier.source.name}{other}; measured once")


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return -1  # cannot be read: said when it is worked through


def _digest(path: Path) -> bytes | None:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").digest()
    except OSError:
        return None


@dataclass(frozen=True)
class _Known:
    """What is remembered of a picture."""

    photo: str
    fingerprint: int
    taken_at: str | None


@dataclass
class NearTwins:
    """Remembers the pictures of a run, to know the next copy of one: another size, quality or format of it.

    Photos of one tray taken at different times are never copies, however little has changed between them.
    """

    settings: PhotoSettings
    _seen: dict[str, list[_Known]] = field(default_factory=dict)

    def checked(self, done: Done) -> Done | SetAside:
        """The same outcome, or set aside where it is a copy of an earlier picture of its tray."""
        if done.fingerprint is None:
            return done
        photo, tray = done.reading.photo, done.reading.tray
        known = _Known(photo, done.fingerprint, _time_of(done))
        earlier_ones = self._seen.setdefault(tray, [])
        for earlier in earlier_ones:
            if self._is_copy(known, earlier):
                message = f"{photo}: is a copy of {earlier.photo} in other size or quality; measured once"
                return SetAside(photo, tray, "duplicate", message)
        earlier_ones.append(known)
        return done

    def _is_copy(self, one: _Known, other: _Known) -> bool:
        timed = one.taken_at is not None and other.taken_at is not None
        if timed and one.taken_at != other.taken_at:
            return False
        bound = self.settings.twin_bits if timed else self.settings.untimed_twin_bits
        return differing_bits(one.fingerprint, other.fingerprint) <= bound


def _time_of(done: Done) -> str | None:
    """Time of exposure; None where only the file's date is known, which copying changes."""
    if any(remark.code == "file_date" for remark in done.reading.remarks):
        return None
    taken_at = done.reading.trays["taken_at"].iloc[0]
    return taken_at if isinstance(taken_at, str) else None
