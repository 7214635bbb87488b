"""What is printed or stuck on a tray: corner markers, a label with the tray's id, tape."""

from __future__ import annotations

from typing import Protocol

import cv2
import numpy as np

from canopy.records import Layout
from canopy.synthetic.noise import FloatArray, Raster, smooth_noise
from canopy.synthetic.pigments import choose, hue_colour

PAPER, INK = 0.75, 0.04  # reflectance of white card and of printer's black
MARKER_MODULES = 6  # DICT_4X4: four bits and a black border of one module each side
TAPES = ("#2f7d46", "#3c8f58", "#5aa05a", "#2b66b0", "#d0b53a", "#b5352f", "#d9d6cc", "#c9b48a")


class Painted(Protocol):
    """A picture in millimetres that can be printed on (arrays are changed in place)."""

    @property
    def albedo(self) -> FloatArray: ...
    @property
    def alpha(self) -> FloatArray: ...
    @property
    def gloss(self) -> FloatArray: ...
    @property
    def depth_mm(self) -> FloatArray: ...
    @property
    def x0_mm(self) -> float: ...
    @property
    def y0_mm(self) -> float: ...
    @property
    def mm_per_px(self) -> float: ...


def card_reach_mm(layout: Layout) -> float:
    """How far outside the outline a marker's white card reaches, mm: one module beyond the black square."""
    side = layout.markers.side_mm
    return layout.markers.offset_mm + side / 2 + side / MARKER_MODULES


def paint_markers(paint: Painted, layout: Layout, rng: np.random.Generator) -> None:
    """Print ArUco DICT_4X4_50 ids 0..3 by the outline's corners, clockwise from A1's, top edge towards row A's side."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    side, offset = layout.markers.side_mm, layout.markers.offset_mm
    module = side / MARKER_MODULES
    card = module * rng.uniform(1.0, 1.0001)
    outward = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    for marker, (corner, way) in enumerate(zip(layout.outline_mm, outward, strict=True)):
        black = cv2.aruco.generateImageMarker(dictionary, marker, MARKER_MODULES) < 128
        x, y = corner + offset * way - side / 2
        _print(paint, np.zeros((1, 1), bool), x - card, y - card, width_mm=side + 2 * card, height_mm=side + 2 * card)
        _print(paint, black, x, y, width_mm=side, height_mm=side)


def paint_label(paint: Painted, layout: Layout, text: str, rng: np.random.Generator) -> None:
    """Stick a white card with `text` as a QR code (ISO/IEC 18004) on the edge by the last row."""
    code = cv2.QRCodeEncoder.create().encode(text) < 128
    module = rng.uniform(0.8, 1.2)
    high, wide = code.shape[0] * module, code.shape[1] * module
    x = layout.outline_width_mm * rng.uniform(0.3, 0.7) - wide / 2
    y = layout.outline_height_mm - rng.uniform(0.0, 0.6) * high
    _print(paint, np.zeros((1, 1), bool), x - 2, y - 2, width_mm=wide + 4, height_mm=high + 4)
    _print(paint, code, x, y, width_mm=wide, height_mm=high)


def paint_tape(paint: Painted, layout: Layout, rng: np.random.Generator) -> None:
    """Stick a strip of tape, most often green, across the rim of one side."""
    wide, along = rng.uniform(9, 20), rng.uniform(40, 0.6 * layout.outline_width_mm + 41)
    x, y = rng.uniform(0, max(1.0, layout.outline_width_mm - along)), rng.choice([-0.4 * wide, layout.outline_height_mm - 0.6 * wide])
    cover = _window_cover(paint, x, y, width_mm=along, height_mm=wide)
    colour = choose(TAPES[:3] if rng.random() < 0.6 else TAPES, rng, light=0.15)
    _stick(paint, np.broadcast_to(colour, (*cover.shape, 3)), cover)


def _print(paint: Painted, black: np.ndarray, x: float, y: float, *, width_mm: float, height_mm: float) -> None:
    """Print a grid of modules (True is ink) into a rectangle, each pixel weighted by the exact area of ink in it."""
    rows = _overlap(paint.albedo.shape[0], paint.y0_mm, paint.mm_per_px, y, height_mm, black.shape[0])
    cols = _overlap(paint.albedo.shape[1], paint.x0_mm, paint.mm_per_px, x, width_mm, black.shape[1])
    cover = rows.sum(axis=1)[:, None] * cols.sum(axis=1)[None]
    touched = np.ix_(rows.any(axis=1), cols.any(axis=1))
    ink = (rows @ black.astype(np.float64) @ cols.T)[touched] / np.maximum(cover[touched], 1e-9)
    grey = PAPER + (INK - PAPER) * ink
    _stick(paint, grey[..., None], cover)


def _window_cover(paint: Painted, x: float, y: float, *, width_mm: float, height_mm: float) -> FloatArray:
    rows = _overlap(paint.albedo.shape[0], paint.y0_mm, paint.mm_per_px, y, height_mm, 1)
    cols = _overlap(paint.albedo.shape[1], paint.x0_mm, paint.mm_per_px, x, width_mm, 1)
    return rows[:, :1] * cols[:, 0][None]


def _overlap(pixels: int, origin_mm: float, mm_per_px: float, start_mm: float, size_mm: float, modules: int) -> np.ndarray:
    """(pixels, modules) share of each pixel's width that each module covers."""
    left = origin_mm + (np.arange(pixels) - 0.5) * mm_per_px
    edges = start_mm + size_mm * np.arange(modules + 1) / modules
    reach = np.minimum(left[:, None] + mm_per_px, edges[None, 1:]) - np.maximum(left[:, None], edges[None, :-1])
    return np.maximum(reach, 0) / mm_per_px


def _stick(paint: Painted, colour: np.ndarray, cover: np.ndarray) -> None:
    """Lay something flat at the rim plane over the picture where `cover` is above 0."""
    rows, cols = np.flatnonzero(cover.any(axis=1)), np.flatnonzero(cover.any(axis=0))
    if not rows.size or not cols.size:
        return
    here = slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1)
    weight = cover[here].astype(np.float32)
    if colour.shape[:2] == cover.shape:
        colour = colour[here]
    # Over bare ground the card alone decides the colour: what lies under its edge belongs to the ground's own picture.
    under = paint.alpha[here] * (1 - weight)
    share = (weight / np.maximum(weight + under, 1e-6))[..., None]
    paint.albedo[here] += (colour.astype(np.float32) - paint.albedo[here]) * share
    paint.alpha[here] = weight + under
    paint.gloss[here] *= 1 - weight
    paint.depth_mm[here] *= 1 - weight
