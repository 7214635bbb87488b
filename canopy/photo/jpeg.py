"""JPEG: what the header says, whether the file is whole, and its pixels at a fraction of the size."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from canopy.errors import PhotoUnreadable
from canopy.photo.colour import array_to_srgb, image_to_srgb

REDUCTIONS = (8, 4, 2, 1)

_START = b"\xff\xd8\xff"
_END = b"\xff\xd9"
# Start-of-frame markers (ITU-T T.81 table B.1): C0..CF without DHT (C4), JPG (C8) and DAC (CC).
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_BARE = frozenset(range(0xD0, 0xD9)) | {0x01}  # RSTn, SOI and TEM carry no length


@dataclass(frozen=True)
class JpegHeader:
    """What stands before the first scan of a JPEG file.

    Attributes
    ----------
    width, height : int
        As stored, before the EXIF orientation.
    components : int
        1 grey, 3 colour, 4 CMYK.
    exif, icc : bytes
        EXIF block and ICC profile; empty when absent.
    adobe : bool
        An Adobe segment is there: CMYK values are then stored inverted.
    scan_start : int
        Offset of the first scan.
    """

    width: int
    height: int
    components: int
    exif: bytes
    icc: bytes
    adobe: bool
    scan_start: int


def is_jpeg(data: bytes) -> bool:
    """True when the bytes begin as every JPEG does."""
    return data.startswith(_START)


def read_header(data: bytes, *, name: str) -> JpegHeader:
    """Walk the segments up to the first scan (ITU-T T.81 annex B).

    Raises
    ------
    PhotoUnreadable
        `truncated` when the file ends before its first scan, `not_an_image` when its segments make no sense.
    """
    size = (0, 0, 0)
    exif, adobe = b"", False
    icc: dict[int, bytes] = {}
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            raise PhotoUnreadable("not_an_image", f"{name}: JPEG header is damaged at byte {at}; copy the photo again")
        marker = data[at + 1]
        if marker == 0xFF or marker in _BARE:  # fill byte, or a marker without a body
            at += 1 if marker == 0xFF else 2
            continue
        length = struct.unpack_from(">H", data, at + 2)[0]
        body = data[at + 4 : at + 2 + length]
        if marker == 0xDA:
            if not size[2]:
                break
            profile = b"".join(icc[part] for part in sorted(icc))
            return JpegHeader(*size, exif=exif, icc=profile, adobe=adobe, scan_start=at)
        if marker in _FRAMES and len(body) >= 6:
            height, width, components = struct.unpack_from(">HHB", body, 1)
            size = (width, height, components)
        elif marker == 0xE1 and body.startswith(b"Exif\0\0") and not exif:
            exif = body
        elif marker == 0xE2 and body.startswith(b"ICC_PROFILE\0") and len(body) > 14:
            icc[body[12]] = body[14:]
        elif marker == 0xEE and body.startswith(b"Adobe"):
            adobe = True
        at += 2 + length
    raise PhotoUnreadable("truncated", f"{name}: JPEG ends after {len(data)} bytes, before its picture; copy it again")


def require_whole(data: bytes, header: JpegHeader, *, name: str) -> None:
    """Refuse a JPEG without an end marker: decoders would fill the missing rows with grey and say nothing.

    Inside a scan FF is followed by 00 or a restart marker only, so the first FFD9 after the scan's start is the
    picture's own end. What cameras append after it (a second picture, a film clip, zeros) does not matter.

    Raises
    ------
    PhotoUnreadable
        `truncated`.
    """
    if data.endswith(_END) or data.find(_END, header.scan_start) >= 0:
        return
    raise PhotoUnreadable("truncated", f"{name}: JPEG has no end marker, rows are missing; copy the photo again")


def choose_reduction(header: JpegHeader, *, orientation: int, min_long_side_px: int | None) -> int:
    """Largest of 1, 2, 4, 8 that keeps the long side at or above `min_long_side_px`; 1 for None.

    A picture that is turned must divide evenly: the decoder pads the last column or row, and a pad that ends up at
    the left or top would shift the whole picture by a part of a pixel.
    """
    if min_long_side_px is None:
        return 1
    for reduction in REDUCTIONS:
        whole = header.width % reduction == 0 and header.height % reduction == 0
        if max(header.width, header.height) // reduction >= min_long_side_px and (orientation == 1 or whole):
            return reduction
    return 1


def decode_jpeg(data: bytes, header: JpegHeader, *, reduction: int, name: str) -> NDArray[np.uint8]:
    """Pixels as stored (not turned), (M, N, 3) sRGB, at 1/`reduction` of the size.

    Raises
    ------
    PhotoUnreadable
        `not_an_image` when no decoder takes it.
    """
    if header.components == 4:
        return _decode_cmyk(data, header, reduction=reduction, name=name)
    # The reduction flags of IMREAD_REDUCED_COLOR_2/4/8 are 17/33/65; their lowest bit asks for BGR, which excludes RGB.
    flags = (0 if reduction == 1 else 8 * reduction) | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        rgb = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    except cv2.error:
        rgb = None
    if rgb is None:
        raise PhotoUnreadable("not_an_image", f"{name}: this kind of JPEG cannot be decoded; save it as PNG")
    return array_to_srgb(np.asarray(rgb, np.uint8), header.icc, grey=header.components == 1)


def _decode_cmyk(data: bytes, header: JpegHeader, *, reduction: int, name: str) -> NDArray[np.uint8]:
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG",)) as image:
            image.draft("CMYK", (-(-header.width // reduction), -(-header.height // reduction)))
            image.load()
            # Pillow takes all CMYK JPEGs for inverted; without the Adobe segment they are not.
            cmyk = image if header.adobe else Image.eval(image, lambda code: 255 - code)
            return np.array(image_to_srgb(cmyk, header.icc))
    except OSError as error:
        raise PhotoUnreadable("not_an_image", f"{name}: CMYK cannot be decoded ({error}); save it as RGB") from None
