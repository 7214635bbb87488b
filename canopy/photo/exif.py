"""What EXIF says of the moment and the lens."""

from __future__ import annotations

import math
import re
import warnings
from datetime import datetime, timedelta, timezone
from typing import Any

from PIL import ExifTags, Image

Tags = dict[int, Any]

# Diagonal of the 36 × 24 mm frame that "35 mm equivalent" focal lengths refer to (CIPA DC-008 / EXIF 2.32, tag 0xA405).
_DIAGONAL_35_MM = math.hypot(36.0, 24.0)
_MM_PER_UNIT = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}  # EXIF FocalPlaneResolutionUnit; 4 and 5 are common extensions

_TIMES = (
    (ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal),
    (ExifTags.Base.DateTimeDigitized, ExifTags.Base.OffsetTimeDigitized),
    (ExifTags.Base.DateTime, ExifTags.Base.OffsetTime),
)
_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)$")


def read_tags(block: bytes) -> Tags:
    """Tags of an EXIF block; a damaged block is as good as none."""
    if not block:
        return {}
    exif = Image.Exif()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            exif.load(block)
        except Exception:  # Pillow raises several kinds on damaged blocks; none of them stops the photo
            return {}
        return tags_of(exif)


def tags_of(exif: Image.Exif) -> Tags:
    """All tags of the main and the photo directory in one dictionary."""
    try:
        return {**dict(exif), **exif.get_ifd(ExifTags.IFD.Exif)}
    except Exception:  # see read_tags
        return {}


def orientation_of(tags: Tags) -> int:
    """EXIF orientation 1..8; 1 when absent or out of range."""
    value = tags.get(ExifTags.Base.Orientation, 1)
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def exif_time(tags: Tags) -> datetime | None:
    """Time of exposure: original, else digitised, else file change; aware when its own offset tag is there."""
    for time_tag, offset_tag in _TIMES:
        try:
            taken_at = datetime.strptime(_text(tags.get(time_tag)), "%Y:%m:%d %H:%M:%S")
        except ValueError:  # absent, blank, "0000:00:00 00:00:00" from a camera without a clock, or no such day
            continue
        offset = _OFFSET.match(_text(tags.get(offset_tag)))
        if offset:
            sign = -1 if offset[1] == "-" else 1
            minutes = sign * (60 * int(offset[2]) + int(offset[3]))
            if abs(minutes) < 24 * 60:
                taken_at = taken_at.replace(tzinfo=timezone(timedelta(minutes=minutes)))
        return taken_at
    return None


def focal_length_px(tags: Tags, *, width_px: int, height_px: int) -> float | None:
    """Focal length in full-size pixels; None when EXIF does not say enough.

    The 35 mm equivalent is taken by the diagonal, f = f35 · diagonal_px / 43.27 mm; without it, the focal length and
    the sensor's pixels per unit are used, scaled when the picture is smaller than the camera wrote it.

    Parameters
    ----------
    tags : dict
        From `tags_of`.
    width_px, height_px : int
        Size of the picture as stored.
    """
    equivalent = _number(tags.get(ExifTags.Base.FocalLengthIn35mmFilm))
    if equivalent:
        return equivalent / _DIAGONAL_35_MM * math.hypot(width_px, height_px)
    focal_mm = _number(tags.get(ExifTags.Base.FocalLength))
    per_unit = _number(tags.get(ExifTags.Base.FocalPlaneXResolution))
    unit_mm = _MM_PER_UNIT.get(int(_number(tags.get(ExifTags.Base.FocalPlaneResolutionUnit)) or 2))
    if not focal_mm or not per_unit or not unit_mm:
        return None
    written_px = _number(tags.get(ExifTags.Base.ExifImageWidth)) or width_px
    return focal_mm * per_unit / unit_mm * width_px / written_px


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        value = value.decode("ascii", "replace")
    return value.strip("\0 ") if isinstance(value, str) else ""


def _number(value: Any) -> float | None:
    """A positive finite number, else None (0 means unknown in EXIF, and 0/0 occurs)."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None
