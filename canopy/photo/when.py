"""When a photo was taken, and how that is known."""

from __future__ import annotations

import re
from datetime import datetime

from canopy.photo.exif import Tags, exif_time


def taken_at(
    tags: Tags, *, name: str, modified_at: datetime | None, name_patterns: tuple[str, ...]
) -> tuple[datetime | None, str]:
    """Best known time of exposure and its source: EXIF, else the file's name, else its modification time.

    Returns
    -------
    taken_at : datetime or None
        Local time; aware when the offset is known.
    source : str
        `exif with offset`, `exif`, `file name`, `file date`, or empty when nothing is known.
    """
    from_exif = exif_time(tags)
    if from_exif is not None:
        return from_exif, "exif with offset" if from_exif.tzinfo else "exif"
    from_name = time_in_name(name, patterns=name_patterns)
    if from_name is not None:
        return from_name, "file name"
    return modified_at, "file date" if modified_at is not None else ""


def time_in_name(name: str, *, patterns: tuple[str, ...]) -> datetime | None:
    """Time written in the last part of a path; None when there is none, or no such day or hour.

    Parameters
    ----------
    name : str
        Path with forward slashes; only what follows the last one is read.
    patterns : tuple of str
        Regular expressions with groups year, month, day and optionally hour, minute, second; missing ones are 0.
    """
    stem = name.replace("\\", "/").rsplit("/", 1)[-1]
    for pattern in patterns:
        for match in re.finditer(pattern, stem):
            parts = {unit: int(digits) for unit, digits in match.groupdict().items() if digits}
            try:
                return datetime(
                    parts["year"],
                    parts["month"],
                    parts["day"],
                    parts.get("hour", 0),
                    parts.get("minute", 0),
                    parts.get("second", 0),
                )
            except ValueError:  # no such day or hour: perhaps a serial number
                continue
    return None
