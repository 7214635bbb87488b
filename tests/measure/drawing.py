"""Draws discs with exact plant shares per pixel: scenes whose areas are known by geometry."""

from __future__ import annotations

import numpy as np

from canopy.records import Height, Layout
from canopy.segment.result import Segmentation
from canopy.tray.rectify import Rectified

LEAF = (60, 120, 40)
YELLOW = (200, 190, 60)
BROWN = (120, 90, 60)
RED_LEAF = (110, 50, 70)
SOIL = (70, 60, 55)

UNKNOWN_HEIGHT = Height(None, "unknown", None, "unknown", (0.0, 0.0))
MARGIN_MM = 15.0


def layout_of(rows=3, columns=5, pitch_mm=40.0):
    """Never square, so that swapped axes show."""
    return Layout(
        name="drawn", rows=rows, columns=columns, pitch_x_mm=pitch_mm, pitch_y_mm=pitch_mm + 4,
        outline_width_mm=columns * pitch_mm + 10, outline_height_mm=rows * (pitch_mm + 4) + 6,
    )  # fmt: skip


def ellipse_cover(shape, centre_px, axes_px, *, fine=8):
    """Share of each pixel inside an ellipse, sampled fine × fine; axes are half lengths."""
    offsets = (np.arange(fine) + 0.5) / fine - 0.5
    x = (np.arange(shape[1])[:, None] + offsets).ravel()
    y = (np.arange(shape[0])[:, None] + offsets).ravel()
    inside = ((x[None] - centre_px[0]) / axes_px[0]) ** 2 + ((y[:, None] - centre_px[1]) / axes_px[1]) ** 2 <= 1
    return inside.reshape(shape[0], fine, shape[1], fine).mean(axis=(1, 3))


def draw(layout, plants, *, mm_per_px=0.5, colours=None):
    """Tray with elliptical plants.

    plants: {cell name: (half width mm, half height mm, shift x mm, shift y mm)}; colours: {cell name: RGB}.
    """
    width = round((layout.outline_width_mm + 2 * MARGIN_MM) / mm_per_px)
    height = round((layout.outline_height_mm + 2 * MARGIN_MM) / mm_per_px)
    rgb = np.full((height, width, 3), SOIL, dtype=np.uint8)
    cover = np.zeros((height, width), dtype=np.float32)
    owner = np.zeros((height, width), dtype=np.uint16)
    for n, (name, centre) in enumerate(zip(layout.names(), layout.centres_mm(), strict=True), start=1):
        if name not in plants:
            continue
        half_width, half_height, dx, dy = plants[name]
        centre_px = (centre + MARGIN_MM + (dx, dy)) / mm_per_px
        axes_px = np.array([half_width, half_height]) / mm_per_px
        x0, y0 = np.maximum(np.floor(centre_px - axes_px - 1), 0).astype(int)
        x1, y1 = np.minimum(np.ceil(centre_px + axes_px + 2), (width, height)).astype(int)
        box = np.s_[y0:y1, x0:x1]
        own = ellipse_cover((y1 - y0, x1 - x0), centre_px - (x0, y0), axes_px)
        taken = own > cover[box]
        cover[box][taken], owner[box][taken] = own[taken], n
        rgb[box][own >= 0.5] = (colours or {}).get(name, LEAF)
    rectified = Rectified(rgb, np.ones((height, width), dtype=bool), mm_per_px, -MARGIN_MM, -MARGIN_MM)
    doubt = np.sqrt(cover * (1 - cover)).astype(np.float32) * 0.2
    return rectified, Segmentation(cover, owner, doubt, np.zeros(layout.cells), np.zeros(layout.cells), 1.0)


def disc(radius_mm, dx=0.0, dy=0.0):
    return (radius_mm, radius_mm, dx, dy)
