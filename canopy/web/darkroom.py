"""What is done with a photo from outside, in a process of its own: read its label, measure it, show it whole."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from canopy.analyse import see_tray, work_through
from canopy.errors import PhotoError
from canopy.outputs.from_above import draw_from_above
from canopy.outputs.overlays import jpeg_bytes, shrink
from canopy.photo import decode
from canopy.records import CropRecipe, Layout, Reading, TrayRecord
from canopy.settings import Settings
from canopy.tray.label import read_labels

# A label of 25 modules on a square of 25 mm has some 3 pixels a module at the first size, where the picture is 700 mm
# wide; what lies farther off is looked for once more, finer.
_LABEL_LONG_SIDES_PX = (2000, 4000)


@dataclass(frozen=True)
class Measured:
    """A photo that gave a reading, and the picture of it.

    Attributes
    ----------
    reading : Reading
    layout : Layout
    picture : bytes
        JPEG made of pixels alone: nothing of the photo's own data is in it.
    box_mm : tuple of float
        x, y, width, height of the picture on the tray.
    """

    reading: Reading
    layout: Layout
    picture: bytes
    box_mm: tuple[float, float, float, float]


@dataclass(frozen=True)
class Whole:
    """A whole photo made small, and where the tray was found in it.

    Attributes
    ----------
    picture : bytes
        JPEG made of pixels alone.
    width_px, height_px : int
        Full size of the upright photo.
    corners_px : tuple of (x, y), or None
        Outline corners 0..3 in full-size pixels; None: the tray was not found.
    """

    picture: bytes
    width_px: int
    height_px: int
    corners_px: tuple[tuple[float, float], ...] | None


def labels_in(data: bytes, *, name: str, settings: Settings) -> tuple[str, ...]:
    """Texts of the QR codes in a photo."""
    for long_side in _LABEL_LONG_SIDES_PX:
        photo = decode(data, name=name, min_long_side_px=long_side, settings=settings.photo)
        if (labels := read_labels(photo.rgb)) or photo.reduction == 1:
            return labels
    return ()


def measure(
    data: bytes,
    record: TrayRecord,
    recipe: CropRecipe | None,
    *,
    name: str,
    modified_at: datetime | None,
    settings: Settings,
) -> Measured:
    """Work a photo through and draw it."""
    worked = work_through(data, record, settings=settings, name=name, modified_at=modified_at, recipe=recipe)
    shown = draw_from_above(worked, long_side_px=settings.web.picture_long_side_px)
    picture = jpeg_bytes(shown.picture, quality=settings.web.picture_quality)
    box = (shown.x_mm, shown.y_mm, shown.width_mm, shown.height_mm)
    return Measured(worked.reading, worked.tray.layout, picture, box)


def whole(data: bytes, record: TrayRecord | None, *, name: str, settings: Settings) -> Whole:
    """The photo as it is, small, with the tray's corners where they are found."""
    photo = decode(data, name=name, min_long_side_px=settings.web.picture_long_side_px, settings=settings.photo)
    picture = jpeg_bytes(
        shrink(photo.rgb, long_side_px=settings.web.picture_long_side_px), quality=settings.web.picture_quality
    )
    corners = _corners(data, record, name=name, settings=settings) if record is not None else None
    return Whole(picture, photo.full_width_px, photo.full_height_px, corners)


def _corners(
    data: bytes, record: TrayRecord, *, name: str, settings: Settings
) -> tuple[tuple[float, float], ...] | None:
    try:
        seen = see_tray(data, record, settings=settings, name=name)
    except PhotoError:
        return None
    reduction = seen.photo.reduction
    # Pixel centres lie at whole numbers: a full-size pixel x lies at (x + 0.5)/reduction − 0.5 of the reduced picture.
    full = (seen.frame.to_px(seen.tray.layout.outline_mm) + 0.5) * reduction - 0.5
    if not np.isfinite(full).all():
        return None
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in full)
