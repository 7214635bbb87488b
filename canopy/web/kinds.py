"""What a sending is, by its first bytes: names and types that a client gives count for nothing."""

from __future__ import annotations

# From the formats' own specifications: JPEG (ISO 10918-1, SOI and the next marker), PNG (ISO 15948, section 5.2),
# TIFF 6.0 (section 2), WebP container (RIFF header), ISO base media file format with the HEIF brands (ISO 23008-12).
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1"})

KINDS = ("jpeg", "png", "tiff", "webp", "heic")
"""Kinds of photos that are taken."""

ENDINGS = {"jpeg": "jpg", "png": "png", "tiff": "tif", "webp": "webp", "heic": "heic"}
"""Endings of the files that photos are kept in."""


def kind_of(head: bytes) -> str | None:
    """Kind of a photo by its first 16 bytes; None where it is none that is taken."""
    if head.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if head.startswith((b"II*\x00", b"MM\x00*")):
        return "tiff"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "webp"
    if head[4:8] == b"ftyp" and head[8:12] in _HEIF_BRANDS:
        return "heic"
    return None
