"""Paint a tray in millimetres: rim, cells with walls, medium, and what is printed or stuck on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from canopy.records import Layout
from canopy.synthetic.films import add_algae, add_salt, wetness
from canopy.synthetic.labels import card_reach_mm, paint_label, paint_markers, paint_tape
from canopy.synthetic.media import paint_medium
from canopy.synthetic.noise import FloatArray, Raster, fractal_noise, shading, smooth_noise, step
from canopy.synthetic.pigments import blend, flat, tint_by, vary
from canopy.synthetic.tray_cells import CellMap, map_cells
from canopy.synthetic.tray_styles import STYLES, TRAY_STYLES, TrayStyle

__all__ = ["TRAY_STYLES", "TrayPaint", "paint_tray"]


@dataclass(frozen=True)
class TrayPaint:
    """A tray as seen from straight above, with its outline's corner 0 at (0, 0) mm.

    Attributes
    ----------
    albedo : (H, W, 3) float32 array
        Linear-light reflectance, sRGB primaries, 0..1; the shade inside cells is part of it.
    alpha : (H, W) float32 array
        1 where the tray, a marker card or a label covers the ground.
    gloss : (H, W) float32 array
        0 matt .. 1 mirror-like film of water.
    depth_mm : (H, W) float32 array
        0 on the rim plane, negative below it.
    x0_mm, y0_mm : float
        Where the centre of pixel [0, 0] lies.
    mm_per_px : float
    """

    albedo: FloatArray
    alpha: FloatArray
    gloss: FloatArray
    depth_mm: FloatArray
    x0_mm: float
    y0_mm: float
    mm_per_px: float


def paint_tray(
    layout: Layout,
    *,
    style: str,
    media: Sequence[str] | str,
    mm_per_px: float,
    margin_mm: float,
    rng: np.random.Generator,
    algae: float = 0.0,
    wet: float = 0.0,
    markers: bool = True,
    label_text: str | None = None,
    tape: bool = False,
) -> TrayPaint:
    """Paint one tray without plants.

    Parameters
    ----------
    layout : Layout
    style : str
        One of `TRAY_STYLES`.
    media : str or sequence of str
        What fills the cells (of `canopy.synthetic.media.MEDIA`); of several, each cell gets one.
    mm_per_px : float
    margin_mm : float
        Ground around the outline that the raster covers as well; marker cards need
        `offset + 2/3 side` of the layout's markers.
    rng : numpy.random.Generator
        Same state, same bytes.
    algae, wet : float
        0..1, how much of the medium carries a green film, how wet it is.
    markers : bool
        Print the layout's four corner markers on cards outside the corners.
    label_text : str or None
        Put a card with this text as a QR code on the edge by the last row.
    tape : bool
        Stick a strip of coloured tape on the rim.

    Returns
    -------
    TrayPaint
    """
    if style not in STYLES:
        raise ValueError(f"tray style {style!r} is unknown; choose one of {', '.join(TRAY_STYLES)}")
    if markers and margin_mm < card_reach_mm(layout):
        raise ValueError(
            f"margin_mm is {margin_mm:g} but marker cards reach {card_reach_mm(layout):g} mm out; widen it or leave markers off"
        )
    raster = Raster(
        round((layout.outline_height_mm + 2 * margin_mm) / mm_per_px) + 1,
        round((layout.outline_width_mm + 2 * margin_mm) / mm_per_px) + 1,
        mm_per_px,
    )
    look = STYLES[style]
    cells = map_cells(layout, look, raster, margin_mm=margin_mm, rng=rng)
    kinds = [media] if isinstance(media, str) else list(media)
    medium, gloss = _paint_filling(kinds, cells, raster, rng, algae=algae, wet=wet)
    paint = _assemble(look, cells, raster, rng, medium=medium, gloss=gloss, margin_mm=margin_mm)
    if tape:
        paint_tape(paint, layout, rng)
    if label_text is not None:
        paint_label(paint, layout, label_text, rng)
    if markers:
        paint_markers(paint, layout, rng)
    return paint


def _paint_filling(
    kinds: list[str], cells: CellMap, raster: Raster, rng: np.random.Generator, *, algae: float, wet: float
) -> tuple[FloatArray, FloatArray]:
    """Medium over the whole raster, as if there were no walls, and its gloss."""
    medium = paint_medium(kinds[0], raster, rng)
    chosen = rng.integers(len(kinds), size=cells.count)
    for k, kind in enumerate(kinds[1:], start=1):
        medium = blend(medium, paint_medium(kind, raster, rng), cells.pick((chosen == k).astype(np.float32)))
    damp, gloss = wetness(cells, raster, rng, wet=wet)
    medium = tint_by(medium, damp * cells.pick(np.exp(0.10 * rng.standard_normal(cells.count)).astype(np.float32)))
    medium = add_salt(medium, cells, raster, rng)
    return add_algae(medium, cells, raster, rng, amount=algae), gloss


def _assemble(
    look: TrayStyle,
    cells: CellMap,
    raster: Raster,
    rng: np.random.Generator,
    *,
    medium: FloatArray,
    gloss: FloatArray,
    margin_mm: float,
) -> TrayPaint:
    """Body, walls and medium put together."""
    body = vary(look.colour, rng, light=0.15, tint=0.04)
    scuffs = fractal_noise(raster, coarse_mm=60, fine_mm=0.6, rng=rng, gain=0.7)
    deck = tint_by(flat(raster.shape, body), 1 + np.float32(look.scuff) * scuffs)
    dust = step(smooth_noise(raster, grain_mm=1.2, rng=rng) + np.float32(0.6) * scuffs, at=2.1, softness=0.6)
    deck = blend(deck, vary("#3d2d22", rng), dust * np.float32(rng.uniform(0.0, 0.9)))
    lit = shading(cells.deck_height_mm, mm_per_px=raster.mm_per_px, azimuth=-2.2, strength=0.35)
    deck = tint_by(deck, lit * cells.wall_light)
    filled = tint_by(medium, cells.hollow_light)
    albedo = blend(deck, filled, cells.filling)
    return TrayPaint(
        albedo=albedo,
        alpha=cells.body,
        gloss=np.clip(gloss * cells.filling + np.float32(look.gloss) * (1 - cells.filling), 0, 1),
        depth_mm=cells.depth_mm,
        x0_mm=-margin_mm,
        y0_mm=-margin_mm,
        mm_per_px=raster.mm_per_px,
    )
