"""Trays drawn on the spot, their truth known by geometry: discs of leaf colour on brown ground, markers around."""

from __future__ import annotations

from collections.abc import Mapping

import cv2
import numpy as np

from canopy.records import Layout

BORDER_MM = 40.0


def draw_tray(
    layout: Layout,
    radii_mm: Mapping[str, float],
    *,
    px_per_mm: float = 2.0,
    markers: bool = True,
    leaf: tuple[int, int, int] = (96, 150, 62),
    seed: int = 7,
) -> np.ndarray:
    """RGB picture of a tray from straight above, with 40 mm around it; a flat disc of `radii_mm` in each named cell."""
    rng = np.random.default_rng(seed)
    width = round((layout.outline_width_mm + 2 * BORDER_MM) * px_per_mm)
    height = round((layout.outline_height_mm + 2 * BORDER_MM) * px_per_mm)
    ground = cv2.GaussianBlur(rng.normal(0, 40, (height, width)), (0, 0), 1.5)
    picture = np.array([100.0, 84.0, 72.0]) + ground[:, :, None]
    leaves = (
        np.array(leaf, dtype=float)
        * (1 + 0.08 * cv2.GaussianBlur(rng.normal(0, 8, (height, width)), (0, 0), 4))[..., None]
    )
    cover = np.zeros((height, width), np.float32)
    centres = dict(zip(layout.names(), layout.centres_mm(), strict=True))
    rows, columns = np.mgrid[:height, :width]
    for name, radius in radii_mm.items():
        x, y = (centres[name] + BORDER_MM) * px_per_mm - 0.5
        cover = np.maximum(cover, np.clip(radius * px_per_mm - np.hypot(columns - x, rows - y) + 0.5, 0, 1))
    picture += cover[..., None] * (leaves - picture)
    if markers:
        _draw_markers(picture, layout, px_per_mm)
    return np.clip(np.round(picture), 0, 255).astype(np.uint8)


def _draw_markers(picture: np.ndarray, layout: Layout, px_per_mm: float) -> None:
    """DICT_4X4_50, ids 0..3 clockwise from A1's corner, on white paper."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    side = round(layout.markers.side_mm * px_per_mm / 6) * 6
    away = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * layout.markers.offset_mm
    for number, place in enumerate(layout.outline_mm + away):
        code = cv2.aruco.generateImageMarker(dictionary, number, side)
        x, y = np.round((place + BORDER_MM) * px_per_mm - side / 2).astype(int)
        rim = round(side / 6)
        picture[y - rim : y + side + rim, x - rim : x + side + rim] = 245
        picture[y : y + side, x : x + side] = code[:, :, None]
