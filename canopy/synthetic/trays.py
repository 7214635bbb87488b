"""Paint a tray in millimetres: rim, cells with walls, medium, and what is printed or stuck on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from canopy.records import Layout
from canopy.synthetic.labels import card_reach_mm, paint_label, paint_markers, paint_tape
from canopy.synthetic.noise import Raster
from canopy.synthetic.pigments import blend, tint_by
from canopy.synthetic.tray_cells import map_cells
from canopy.synthetic.tray_paint import TrayPaint
from canopy.synthetic.tray_styles import STYLES, TRAY_STYLES
from canopy.synthetic.tray_surface import paint_deck, paint_filling

__all__ = ["TRAY_STYLES", "TrayPaint", "paint_tray"]


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
            f"margin_mm is {margin_mm:g} but marker cards reach {card_reach_mm(layout):g} mm out; "
            "widen it or leave markers off"
        )
    raster = Raster(
        round((layout.outline_height_mm + 2 * margin_mm) / mm_per_px) + 1,
        round((layout.outline_width_mm + 2 * margin_mm) / mm_per_px) + 1,
        mm_per_px,
    )
    look = STYLES[style]
    cells = map_cells(layout, look, raster, margin_mm=margin_mm, rng=rng)
    kinds = [media] if isinstance(media, str) else list(media)
    medium, gloss = paint_filling(kinds, look, cells, raster, rng, algae=algae, wet=wet)
    deck = paint_deck(look, cells, raster, rng)
    paint = TrayPaint(
        albedo=blend(deck, tint_by(medium, cells.hollow_light), cells.filling),
        alpha=cells.body,
        gloss=np.clip(gloss * cells.filling + np.float32(look.gloss) * (1 - cells.filling), 0, 1),
        depth_mm=cells.depth_mm,
        x0_mm=-margin_mm,
        y0_mm=-margin_mm,
        mm_per_px=mm_per_px,
    )
    if tape:
        paint_tape(paint, layout, rng)
    if label_text is not None:
        paint_label(paint, layout, label_text, rng)
    if markers:
        paint_markers(paint, layout, rng)
    return paint
