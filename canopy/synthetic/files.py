"""Writes drawn photos as a camera would leave them, with their truth beside them."""

from __future__ import annotations

import io
from collections.abc import Collection
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from PIL import ExifTags, Image

from canopy.records import Layout
from canopy.synthetic.render import Picture
from canopy.synthetic.scene import Scene

MASKS = "masks"
"""Folder of the instance masks, beside the photos; a search for photos passes over folders of this name."""

_JPEG_QUALITY = 92
_DIAGONAL_35MM = 43.27


def jpeg_bytes(
    picture: Picture, scene: Scene, *, taken_at: datetime | None = None, quality: int = _JPEG_QUALITY
) -> bytes:
    """The picture as JPEG with the EXIF a phone writes: focal length, orientation and, if given, time with offset."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 1
    exif[ExifTags.Base.Software] = "canopy simulate"
    details = exif.get_ifd(ExifTags.IFD.Exif)
    diagonal = float(np.hypot(scene.camera.width_px, scene.camera.height_px))
    details[ExifTags.Base.FocalLengthIn35mmFilm] = round(scene.camera.focal_px / diagonal * _DIAGONAL_35MM)
    if taken_at is not None:
        stamp = taken_at.strftime("%Y:%m:%d %H:%M:%S")
        exif[ExifTags.Base.DateTime] = details[ExifTags.Base.DateTimeOriginal] = stamp
        if taken_at.tzinfo is not None:
            zone = taken_at.strftime("%z")
            details[ExifTags.Base.OffsetTimeOriginal] = f"{zone[:3]}:{zone[3:]}"
    buffer = io.BytesIO()
    Image.fromarray(picture.rgb).save(buffer, "JPEG", quality=quality, subsampling=2, exif=exif)
    return buffer.getvalue()


def mask_png(picture: Picture) -> bytes:
    """Instance mask as 16-bit PNG: 0 = background, n = cell number."""
    ok, data = cv2.imencode(".png", picture.plant)
    if not ok:
        raise RuntimeError("the mask could not be written as PNG")
    return data.tobytes()


def with_pixels(truth: pd.DataFrame, picture: Picture, layout: Layout) -> pd.DataFrame:
    """The truth table with the number of visible pixels of each plant filled in."""
    counts = np.bincount(picture.plant.ravel(), minlength=layout.cells + 1)[1:]
    return truth.assign(visible_px=counts)


def tray_line(
    scene: Scene,
    truth: pd.DataFrame,
    *,
    file_name: str,
    taken_at: datetime | None,
    recipes: Collection[tuple[str, str]] = (),
) -> dict[str, object]:
    """The line of the tray list that goes with the photo: sizes, sowing day, heights as a grower would know them.

    `recipes` are the (crop, stage) that may be named; a tray of any other crop has an empty `crop`.
    """
    layout = scene.layout
    stage = "finish" if layout.kind == "raft" else "mat" if layout.kind == "mat" else "seedling"
    cultivar = scene.plants[0].cultivar if scene.plants else ""
    planted = truth[truth.state == "planted"]
    das = int(scene.plants[0].das) if scene.plants else 0  # whole days passed: the same sowing day on every day
    day = (taken_at or datetime(2026, 4, 20, tzinfo=UTC)).date()
    return {
        "photo": file_name,
        "tray": scene.tray_id,
        "layout": f"{layout.rows}x{layout.columns}",
        "crop": cultivar if (cultivar, stage) in recipes else "",
        "stage": stage,
        "sown_on": (pd.Timestamp(day) - pd.Timedelta(days=das)).date().isoformat(),
        "pitch_mm": f"{layout.pitch_x_mm:g}x{layout.pitch_y_mm:g}",
        "outline_mm": f"{layout.outline_width_mm:g}x{layout.outline_height_mm:g}",
        "markers": "yes" if scene.surroundings.markers else "no",
        "marker_offset_mm": f"{layout.markers.offset_mm:g}",
        "camera_height_mm": round(scene.camera.z_mm),
        "canopy_height_mm": round(float(planted.height_mm.median())) if len(planted) else "",
    }


def write_scene(folder: Path, scene: Scene, picture: Picture, *, taken_at: datetime | None = None) -> Path:
    """Write NAME.jpg and masks/NAME.png; returns the photo's path."""
    photo = folder / f"{scene.name}.jpg"
    photo.write_bytes(jpeg_bytes(picture, scene, taken_at=taken_at))
    (folder / MASKS).mkdir(exist_ok=True)
    (folder / MASKS / f"{scene.name}.png").write_bytes(mask_png(picture))
    return photo
