"""Strew loose things over a painted ground: tools, crumbs, drops, wires."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from canopy.synthetic import things
from canopy.synthetic.cords import CORDS, draw_cord
from canopy.synthetic.crumbs import SPILLS, spill
from canopy.synthetic.noise import BoolArray, FloatArray, Raster, blur
from canopy.synthetic.pigments import flat, hue_colour
from canopy.synthetic.shapes import Stamp, blob_outline, lay, polygon_cover

# How many of a thing lie on a square metre at amount 1.
_PER_M2: dict[str, tuple[things.ThingPainter, float]] = {
    "pegs": (things.peg, 40), "clips": (things.clip, 15), "label_sticks": (things.label_stick, 15),
    "stakes": (things.stake, 8), "coins": (things.coin, 15), "screws": (things.screw, 40),
    "scissors": (things.scissors, 3), "trowels": (things.trowel, 3), "pipettes": (things.pipette, 5),
    "rulers": (things.ruler, 3), "paper_notes": (things.paper_note, 8), "stones": (things.stone, 80),
    "leaf_bits": (things.leaf_bit, 60), "straws": (things.straw, 90), "rubber_bands": (things.rubber_band, 15),
    "tags": (things.tag, 25), "drops": (things.droplet, 250), "puddles": (things.puddle, 10),
}  # fmt: skip
CLUTTER: tuple[str, ...] = (*_PER_M2, *CORDS, *SPILLS, "near_blobs")
_MOST_OF_A_KIND = 400


def scatter_clutter(
    albedo: FloatArray,
    *,
    mm_per_px: float,
    rng: np.random.Generator,
    kinds: Sequence[str],
    amount: float,
    avoid: BoolArray | None = None,
) -> FloatArray:
    """Strew things over a picture of a surface.

    Parameters
    ----------
    albedo : (H, W, 3) float32 array
        Linear-light reflectance; not modified.
    mm_per_px : float
    rng : numpy.random.Generator
        Same state, same bytes.
    kinds : sequence of str
        Names from `CLUTTER`.
    amount : float
        0 nothing .. 1 a messy bench.
    avoid : (H, W) bool array, optional
        Where nothing's middle may lie; what sticks out over it is cut off there.

    Returns
    -------
    (H, W, 3) float32 array
    """
    unknown = [kind for kind in kinds if kind not in CLUTTER]
    if unknown:
        raise ValueError(f"clutter {unknown[0]!r} is unknown; choose from {', '.join(CLUTTER)}")
    canvas = albedo.astype(np.float32, copy=True)
    raster = Raster.of(albedo, mm_per_px=mm_per_px)
    for kind in kinds:
        _strew(canvas, kind, raster, rng, amount)
    if avoid is not None:
        canvas[avoid] = albedo[avoid]
    return np.clip(canvas, 0, 1)


def _strew(canvas: FloatArray, kind: str, raster: Raster, rng: np.random.Generator, amount: float) -> None:
    if kind in SPILLS:
        spill(canvas, kind, raster, rng, amount=amount)
    elif kind in CORDS:
        for _ in range(_how_many(2.0 * amount, rng)):
            draw_cord(canvas, kind, raster, rng)
    elif kind == "near_blobs":
        for _ in range(_how_many(3.0 * amount, rng)):
            _near_blob(canvas, raster, rng)
    else:
        painter, per_m2 = _PER_M2[kind]
        for _ in range(min(_how_many(per_m2 * amount * raster.area_mm2 / 1e6, rng), _MOST_OF_A_KIND)):
            lay_anywhere(canvas, painter(raster.mm_per_px, rng), raster, rng)


def _how_many(mean: float, rng: np.random.Generator) -> int:
    """At least one when a kind is asked for at all."""
    return max(1, int(rng.poisson(mean))) if mean > 0 else 0


def lay_anywhere(canvas: FloatArray, stamp: Stamp, raster: Raster, rng: np.random.Generator) -> None:
    """Lay a stamp somewhere in the picture with a shadow as long as it is high."""
    away = raster.px(stamp.height_mm) * 0.7
    row, col = rng.uniform(0, raster.height_px), rng.uniform(0, raster.width_px)
    lay(canvas, stamp, row=row, col=col, shadow_px=(away, 0.8 * away) if away > 0.3 else (0, 0))


def _near_blob(canvas: FloatArray, raster: Raster, rng: np.random.Generator) -> None:
    """Something far out of focus close to the lens: a soft coloured disc."""
    radius = rng.uniform(0.04, 0.16) * min(raster.shape)
    reach = int(radius * 2)
    outline = blob_outline(radius, rng, roughness=0.2) + reach
    alpha = blur(polygon_cover(outline, (2 * reach + 1, 2 * reach + 1)), radius_px=radius * rng.uniform(0.15, 0.4))
    colour = hue_colour(rng.random(), rng.uniform(0, 0.5), rng.uniform(0.02, 0.6))
    lay_anywhere(canvas, Stamp(flat(alpha.shape, colour), alpha * np.float32(rng.uniform(0.4, 1))), raster, rng)
