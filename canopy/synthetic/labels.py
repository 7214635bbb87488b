"""What is printed or stuck on a tray: corner markers, a label with the tray's id, tape (arrays change in place)."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.records import Layout
from canopy.synthetic.noise import BoolArray, Raster, smooth_noise
from canopy.synthetic.pigments import choose, toned
from canopy.synthetic.tray_paint import TrayPaint

PAPER, INK = 0.75, 0.04  # reflectance of white card and of printer's black
MARKER_MODULES = 6  # DICT_4X4: four bits and a black border of one module each side
TAPES = ("#2f7d46", "#3c8f58", "#5aa05a", "#2b66b0", "#d0b53a", "#b5352f", "#d9d6cc", "#c9b48a")


def card_reach_mm(layout: Layout) -> float:
    """How far outside the outline a marker's white card reaches, mm: one module beyond the black square."""
    side = layout.markers.side_mm
    return layout.markers.offset_mm + side / 2 + side / MARKER_MODULES


def paint_markers(paint: TrayPaint, layout: Layout, rng: np.random.Generator) -> None:
    """Print ArUco DICT_4X4_50 ids 0..3 by the outline's corners, clockwise from A1's, top edge towards row A's side."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    side, offset = layout.markers.side_mm, layout.markers.offset_mm
    module = side / MARKER_MODULES
    card = module * rng.uniform(1.0, 2.4)  # white margin: one module at least, as the detection of any such code needs
    outward = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    for marker, (corner, way) in enumerate(zip(layout.outline_mm, outward, strict=True)):
        black = cv2.aruco.generateImageMarker(dictionary, marker, MARKER_MODULES) < 128
        x, y = corner + offset * way - side / 2
        _print(paint, np.zeros((1, 1), bool), x - card, y - card, width_mm=side + 2 * card, height_mm=side + 2 * card)
        _print(paint, black, x, y, width_mm=side, height_mm=side)


def paint_label(paint: TrayPaint, layout: Layout, text: str, rng: np.random.Generator) -> None:
    """Stick a white card with `text` as a QR code (ISO/IEC 18004) on the edge by the last row."""
    code = cv2.QRCodeEncoder.create().encode(text) < 128
    module = rng.uniform(0.8, 1.2)
    high, wide = code.shape[0] * module, code.shape[1] * module
    x = layout.outline_width_mm * rng.uniform(0.3, 0.7) - wide / 2
    y = layout.outline_height_mm - rng.uniform(0.0, 0.6) * high
    _print(paint, np.zeros((1, 1), bool), x - 2, y - 2, width_mm=wide + 4, height_mm=high + 4)
    _print(paint, code, x, y, width_mm=wide, height_mm=high)


def paint_tape(paint: TrayPaint, layout: Layout, rng: np.random.Generator) -> None:
    """Stick a strip of tape, most often green, across the rim of one side."""
    wide, along = rng.uniform(9, 20), rng.uniform(40, 0.6 * layout.outline_width_mm + 41)
    x = rng.uniform(0, max(1.0, layout.outline_width_mm - along))
    y = float(rng.choice([-0.4 * wide, layout.outline_height_mm - 0.6 * wide]))
    rows, row_window = _shares(paint.albedo.shape[0], paint.y0_mm, paint.mm_per_px, y, wide, 1)
    cols, col_window = _shares(paint.albedo.shape[1], paint.x0_mm, paint.mm_per_px, x, along, 1)
    cover = rows @ cols.T
    if not cover.size:
        return
    colour = choose(TAPES[:3] if rng.random() < 0.6 else TAPES, rng, light=0.15)
    raster = Raster(cover.shape[0], cover.shape[1], paint.mm_per_px)
    creases = 1 + np.float32(0.05) * smooth_noise(raster, grain_mm=(1.5, 25), rng=rng)
    _stick(paint, toned(raster, colour, creases), cover, (row_window, col_window))


def _print(paint: TrayPaint, black: BoolArray, x: float, y: float, *, width_mm: float, height_mm: float) -> None:
    """Print a grid of modules (True is ink) into a rectangle, each pixel weighted by the exact area of ink in it."""
    rows, row_window = _shares(paint.albedo.shape[0], paint.y0_mm, paint.mm_per_px, y, height_mm, black.shape[0])
    cols, col_window = _shares(paint.albedo.shape[1], paint.x0_mm, paint.mm_per_px, x, width_mm, black.shape[1])
    cover = np.outer(rows.sum(axis=1), cols.sum(axis=1))
    ink = (rows @ black.astype(np.float64) @ cols.T) / np.maximum(cover, 1e-9)
    _stick(paint, (PAPER + (INK - PAPER) * ink)[..., None], cover, (row_window, col_window))


def _shares(
    pixels: int, origin_mm: float, mm_per_px: float, start_mm: float, size_mm: float, modules: int
) -> tuple[NDArray[np.float64], slice]:
    """(n, modules) share of each touched pixel's width that each module covers, and the window of those pixels."""
    first = int(np.clip(np.floor((start_mm - origin_mm) / mm_per_px), 0, pixels))
    last = int(np.clip(np.ceil((start_mm + size_mm - origin_mm) / mm_per_px) + 1, first, pixels))
    left = origin_mm + (np.arange(first, last) - 0.5) * mm_per_px
    edges = start_mm + size_mm * np.arange(modules + 1) / modules
    reach = np.minimum(left[:, None] + mm_per_px, edges[None, 1:]) - np.maximum(left[:, None], edges[None, :-1])
    return np.maximum(reach, 0) / mm_per_px, slice(first, last)


def _stick(
    paint: TrayPaint, colour: NDArray[np.floating], cover: NDArray[np.float64], here: tuple[slice, slice]
) -> None:
    """Lay something flat at the rim plane over a window of the picture, `cover` telling its share of each pixel."""
    weight = cover.astype(np.float32)
    # Over bare ground the card alone decides the colour: what lies under its edge belongs to the ground's own picture.
    under = paint.alpha[here] * (1 - weight)
    share = (weight / np.maximum(weight + under, 1e-6))[..., None]
    paint.albedo[here] += (colour.astype(np.float32) - paint.albedo[here]) * share
    paint.alpha[here] = weight + under
    paint.gloss[here] *= 1 - weight
    paint.depth_mm[here] *= 1 - weight
