"""Trays drawn with known truth: rosettes of elliptical leaves, each plant over or under its neighbours leaf by leaf."""

from __future__ import annotations

import cv2
import numpy as np

from canopy.records import Height, Layout
from canopy.tray.rectify import Rectified

GOLDEN_DEG = 137.508
FLAT = Height(None, "unknown", None, "unknown", (0.0, 0.0))


def layout(rows, columns, pitch=40.0, kind="cells", rim=10.0):
    return Layout(
        name="drawn",
        rows=rows,
        columns=columns,
        pitch_x_mm=pitch,
        pitch_y_mm=pitch,
        outline_width_mm=columns * pitch + 2 * rim,
        outline_height_mm=rows * pitch + 2 * rim,
        kind=kind,
    )


def blank(tray, *, mm_per_px, margin_mm=30.0, colour=(70, 62, 55)):
    """A rectified picture of bare ground."""
    rows = round((tray.outline_height_mm + 2 * margin_mm) / mm_per_px)
    cols = round((tray.outline_width_mm + 2 * margin_mm) / mm_per_px)
    rgb = np.full((rows, cols, 3), colour, dtype=np.uint8)
    start = -margin_mm + mm_per_px / 2
    return Rectified(rgb, np.ones((rows, cols), bool), mm_per_px, start, start)


def draw_rosettes(tray, picture, *, radii_mm, rng, jitter_mm=3.0, leaves=9):
    """Owner truth (M, N) int of rosettes; radius 0 leaves the cell empty. Leaves of all plants in random order."""
    owner = np.zeros(picture.rgb.shape[:2], np.int32)
    todo = []
    for number, (centre, radius) in enumerate(zip(tray.centres_mm(), radii_mm, strict=True), start=1):
        root, turn = centre + rng.uniform(-jitter_mm, jitter_mm, 2), rng.uniform(0, 360)
        todo += [
            (rng.random() + k / leaves, number, root, turn + GOLDEN_DEG * k, radius * (1 - 0.5 * k / leaves))
            for k in range(leaves if radius > 0 else 0)
        ]
    for _, number, root, angle, length in sorted(todo, key=lambda leaf: leaf[0]):
        draw_leaf(owner, picture, number, root=root, angle_deg=angle, length_mm=length)
    return owner


def draw_leaf(owner, picture, value, *, root, angle_deg, length_mm, width=0.55):
    direction = np.array([np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))])
    x, y = picture.to_px(np.asarray(root) + direction * length_mm / 2)
    axes = np.array([length_mm / 2, width * length_mm / 2]) / picture.mm_per_px
    shift = 8
    centre = (round(x * 2**shift), round(y * 2**shift))
    size = (round(axes[0] * 2**shift), round(axes[1] * 2**shift))
    cv2.ellipse(owner, centre, size, angle_deg, 0, 360, value, -1, cv2.LINE_8, shift)


def draw_disc(owner, picture, value, *, centre_mm, radius_mm):
    """Exact at pixel centres."""
    rows, cols = np.indices(owner.shape)
    x, y = picture.x0_mm + cols * picture.mm_per_px, picture.y0_mm + rows * picture.mm_per_px
    owner[np.hypot(x - centre_mm[0], y - centre_mm[1]) < radius_mm] = value


def painted(picture, owner, *, rng=None, leaf=(95, 150, 60)):
    """The picture with leaves in leaf green wherever `owner` is above 0."""
    rgb = picture.rgb.astype(np.float32)
    rgb[owner > 0] = leaf
    if rng is not None:
        rgb += rng.normal(0, 4, rgb.shape)
    return Rectified(
        np.clip(np.rint(rgb), 0, 255).astype(np.uint8),
        picture.inside,
        picture.mm_per_px,
        picture.x0_mm,
        picture.y0_mm,
    )
