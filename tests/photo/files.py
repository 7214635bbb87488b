"""Files that cameras and programs write, made in memory."""

from __future__ import annotations

import io
import struct

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

Pixels = NDArray[np.uint8]


def scene(width: int = 160, height: int = 96) -> Pixels:
    """An unsymmetric smooth picture: each corner has its own colour, so that no turn goes unseen."""
    corners = np.array([[[200, 40, 60], [50, 180, 70]], [[60, 70, 190], [190, 180, 60]]], np.float32)
    return np.clip(np.rint(cv2.resize(corners, (width, height), interpolation=cv2.INTER_LINEAR)), 0, 255).astype(
        np.uint8
    )


def save(pixels: Pixels | Image.Image, kind: str, **options: object) -> bytes:
    image = pixels if isinstance(pixels, Image.Image) else Image.fromarray(pixels)
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def jpeg(pixels: Pixels | None = None, **options: object) -> bytes:
    return save(scene() if pixels is None else pixels, "JPEG", **{"quality": 95, "subsampling": 0, **options})


def exif_block(main: dict[int, object] | None = None, photo: dict[int, object] | None = None) -> bytes:
    exif = Image.Exif()
    for tag, value in (main or {}).items():
        exif[tag] = value
    directory = exif.get_ifd(0x8769)
    directory.update(photo or {})
    if photo:
        exif[0x8769] = directory
    return exif.tobytes()


def rgb_profile(name: str, primaries_xyz_d50: NDArray[np.float64], curve: tuple[float, ...]) -> bytes:
    """A minimal matrix ICC profile (ICC.1:2010): columns of primaries in D50 XYZ, one parametric curve of type 3."""
    text = name.encode()
    white = _xyz((0.9642, 1.0, 0.8249))
    tags = {
        b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(text) + 1) + text + b"\0" + b"\0" * 78,
        b"cprt": b"text\0\0\0\0none\0",
        b"wtpt": white,
    }
    for channel, column in zip(b"rgb", primaries_xyz_d50.T, strict=True):
        tags[bytes([channel]) + b"XYZ"] = _xyz(column)
        tags[bytes([channel]) + b"TRC"] = b"para\0\0\0\0" + struct.pack(">HH", 3, 0) + b"".join(map(_fixed, curve))
    start = 128 + 4 + 12 * len(tags)
    table, body = b"", b""
    for tag, value in tags.items():
        value += b"\0" * (-len(value) % 4)
        table += tag + struct.pack(">II", start + len(body), len(value))
        body += value
    head = struct.pack(">I4sI4s4s4s", start + len(body), b"\0" * 4, 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    head += b"\0" * 12 + b"acsp" + b"\0" * 28 + white[8:] + b"\0" * 48
    return head + struct.pack(">I", len(tags)) + table + body


def _fixed(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def _xyz(values: object) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(_fixed(float(v)) for v in values)  # type: ignore[attr-defined]


def png16(pixels16: NDArray[np.uint16]) -> bytes:
    """16-bit PNG of RGB (or grey) values."""
    stored = pixels16[..., ::-1] if pixels16.ndim == 3 else pixels16
    return cv2.imencode(".png", np.ascontiguousarray(stored))[1].tobytes()


def tiff16(pixels16: NDArray[np.uint16]) -> bytes:
    return cv2.imencode(".tiff", np.ascontiguousarray(pixels16[..., ::-1]))[1].tobytes()
