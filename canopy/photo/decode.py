"""Bytes → upright sRGB photo, at the smallest scale that is good enough."""

from __future__ import annotations

from datetime import datetime

from canopy.errors import PhotoUnreadable
from canopy.photo.exif import focal_length_px, orientation_of, read_tags
from canopy.photo.image import Photo
from canopy.photo.jpeg import choose_reduction, decode_jpeg, is_jpeg, read_header, require_whole
from canopy.photo.stills import Still, decode_still, require_size
from canopy.photo.upright import SWAPPING, upright
from canopy.photo.when import taken_at
from canopy.settings import PhotoSettings


def decode(
    data: bytes,
    *,
    name: str,
    modified_at: datetime | None = None,
    min_long_side_px: int | None = None,
    settings: PhotoSettings,
) -> Photo:
    """Decode a photo.

    Parameters
    ----------
    data : bytes
        JPEG, PNG, TIFF, WebP, HEIC/HEIF or a still GIF.
    name : str
        Path below the given folder; starts every message and may hold the time of exposure.
    modified_at : datetime, optional
        The file's modification time, the last resort for the time of exposure.
    min_long_side_px : int, optional
        A JPEG is decoded at the smallest of 1, 1/2, 1/4, 1/8 whose long side has at least this many pixels; None for
        full size. Other formats have no cheap reduced decoding and come at full size.
    settings : PhotoSettings

    Returns
    -------
    Photo

    Raises
    ------
    PhotoUnreadable
        Code `empty_file`, `not_an_image`, `truncated`, `too_large`, `too_small` or `animated`.
    """
    if not data:
        raise PhotoUnreadable("empty_file", f"{name}: file is empty; copy the photo again from the camera")
    if is_jpeg(data):
        still, reduction, size = _jpeg(data, name, min_long_side_px, settings)
    else:
        still = decode_still(data, name=name, settings=settings)
        reduction, size = 1, (still.rgb.shape[1], still.rgb.shape[0])
    moment, source = taken_at(still.tags, name=name, modified_at=modified_at, name_patterns=settings.name_patterns)
    width, height = size[::-1] if still.orientation in SWAPPING else size
    return Photo(
        name=name,
        rgb=upright(still.rgb, still.orientation),
        reduction=reduction,
        full_width_px=width,
        full_height_px=height,
        taken_at=moment,
        taken_at_source=source,
        focal_length_px=focal_length_px(still.tags, width_px=size[0], height_px=size[1]),
    )


def _jpeg(
    data: bytes, name: str, min_long_side_px: int | None, settings: PhotoSettings
) -> tuple[Still, int, tuple[int, int]]:
    header = read_header(data, name=name)
    require_size(header.width, header.height, name=name, settings=settings)
    require_whole(data, header, name=name)
    tags = read_tags(header.exif)
    orientation = orientation_of(tags)
    reduction = choose_reduction(header, orientation=orientation, min_long_side_px=min_long_side_px)
    rgb = decode_jpeg(data, header, reduction=reduction, name=name)
    return Still(rgb, tags, orientation), reduction, (header.width, header.height)
