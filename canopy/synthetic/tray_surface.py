"""Paint the two surfaces of a tray: its body with walls and rims, and the medium that fills it."""

from __future__ import annotations

import numpy as np

from canopy.synthetic.films import add_algae, add_moss, add_roots, add_salt, wetness
from canopy.synthetic.media import paint_medium_sheet
from canopy.synthetic.noise import FloatArray, Raster, fractal_noise, shading, step
from canopy.synthetic.pigments import blend, flat, linear, tint_by, vary
from canopy.synthetic.tray_cells import CellMap
from canopy.synthetic.tray_styles import TrayStyle

_TILE_PX = 1700


def paint_filling(
    kinds: list[str],
    look: TrayStyle,
    cells: CellMap,
    raster: Raster,
    rng: np.random.Generator,
    *,
    algae: float,
    wet: float,
) -> tuple[FloatArray, FloatArray]:
    """Medium over the whole raster, as if there were no walls, and its gloss."""
    medium = paint_medium_sheet(kinds[0], raster, rng, tile_px=_TILE_PX)
    chosen = rng.integers(len(kinds), size=cells.count)
    for k, kind in enumerate(kinds[1:], start=1):
        other = paint_medium_sheet(kind, raster, rng, tile_px=_TILE_PX)
        medium = blend(medium, other, cells.pick((chosen == k).astype(np.float32)))
    damp, gloss = wetness(cells, raster, rng, wet=wet)
    own = np.exp(rng.uniform(0.03, 0.15) * rng.standard_normal(cells.count)).astype(np.float32)
    medium = tint_by(medium, damp * cells.pick(own))
    if look.dimple:
        medium = _dimpled(medium, cells, raster, rng)
    medium = add_roots(add_salt(medium, cells, raster, rng), cells, raster, rng)
    medium = add_algae(medium, cells, raster, rng, amount=algae)
    return add_moss(medium, cells, raster, rng, amount=algae), gloss


def _dimpled(medium: FloatArray, cells: CellMap, raster: Raster, rng: np.random.Generator) -> FloatArray:
    """A planting hole in the middle of each block: round, or a slit or cross."""
    radius = float(rng.uniform(1.0, 6.0))
    shift = rng.normal(0, 0.8, (2, cells.count)).astype(np.float32)
    x, y = cells.offset_x - cells.pick(shift[0]), cells.offset_y - cells.pick(shift[1])
    if rng.random() < 0.6:
        out = np.hypot(x, y) - np.float32(radius)
    else:
        arms = [
            np.maximum(np.abs(a) - np.float32(3 + radius), np.abs(b) - np.float32(0.5)) for a, b in ((x, y), (y, x))
        ]
        out = np.minimum(arms[0], arms[1]) if rng.random() < 0.6 else arms[0]
    hole = np.clip(np.float32(0.5) - out / np.float32(max(raster.mm_per_px, 0.6)), 0, 1)
    return tint_by(medium, 1 - np.float32(rng.uniform(0.4, 0.85)) * hole)


def paint_deck(look: TrayStyle, cells: CellMap, raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Body, rims and walls of the tray, shaded, worn and dusty."""
    pixel = np.float32(raster.mm_per_px)
    deck = flat(raster.shape, vary(look.colour, rng, light=0.15, tint=0.04))
    if look.holes_mm:
        deck = _with_holes(deck, look, cells, rng, pixel)
    if look.pot_rim_mm:
        pot = np.clip(np.float32(0.5) + (cells.from_hole_mm + np.float32(look.pot_rim_mm)) / pixel, 0, 1)
        groove = np.exp(-np.square((cells.from_hole_mm + np.float32(look.pot_rim_mm)) / np.float32(0.7)))
        deck = blend(deck, vary(look.pot_colour, rng, light=0.2, tint=0.03), pot)
        deck = tint_by(deck, 1 - np.float32(0.5) * groove)
    if look.net:
        deck = _net_pots(deck, cells, rng, pixel)
    scuffs = fractal_noise(raster, coarse_mm=60, fine_mm=0.6, rng=rng, gain=0.7)
    lit = shading(cells.deck_height_mm, mm_per_px=max(raster.mm_per_px, 0.25), strength=0.4)
    deck = tint_by(deck, lit * cells.wall_light * (1 + np.float32(look.scuff) * scuffs))
    dirt = fractal_noise(raster, coarse_mm=3, fine_mm=0.5, rng=rng, gain=0.8) + np.float32(0.5) * scuffs
    near = np.float32(0.8) * np.exp(-np.maximum(-cells.from_hole_mm, 0) / np.float32(4))  # spilled when filling
    dirty = step(dirt + near, at=rng.uniform(2.0, 3.2), softness=0.6) * np.float32(rng.uniform(0.2, 1.0))
    return blend(deck, vary("#3d2d22", rng), dirty)


def _with_holes(
    deck: FloatArray, look: TrayStyle, cells: CellMap, rng: np.random.Generator, pixel: np.float32
) -> FloatArray:
    """Small round holes where four cells meet."""
    half_x, half_y = (np.float32(half) for half in cells.half_pitch_mm)
    away = np.hypot(np.abs(cells.offset_x) - half_x, np.abs(cells.offset_y) - half_y) - np.float32(look.holes_mm / 2)
    inner = cells.from_edge_mm > 3
    some = np.float32(rng.uniform(0.5, 1.0))
    return blend(deck, linear("#08080a"), np.clip(np.float32(0.5) - away / pixel, 0, 1) * some * inner)


def _net_pots(deck: FloatArray, cells: CellMap, rng: np.random.Generator, pixel: np.float32) -> FloatArray:
    """A flat ring about each hole and dark slots in it."""
    ring_mm = np.float32(rng.uniform(2, 5))
    ring = np.clip(np.float32(0.5) + (cells.from_hole_mm + ring_mm) / pixel, 0, 1)
    colour = vary("#17181a" if rng.random() < 0.7 else "#d9d8d2", rng)
    spokes = np.cos(np.arctan2(cells.offset_y, cells.offset_x) * np.float32(rng.integers(8, 20)))
    slots = (spokes > 0.3) * np.exp(-np.square((cells.from_hole_mm + np.float32(0.8)) / np.float32(0.8)))
    return tint_by(blend(deck, colour, ring), 1 - np.float32(0.5) * slots)
