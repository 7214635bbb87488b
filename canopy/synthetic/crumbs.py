"""Spilled medium: crumbs strewn in patches, and heaps."""

from __future__ import annotations

import numpy as np

from canopy.synthetic.media import paint_medium_sheet
from canopy.synthetic.noise import FloatArray, Raster, blur, fractal_noise, grains, step
from canopy.synthetic.pigments import blend, tint_by

# Medium and size of the crumbs in mm.
_STUFF: dict[str, tuple[str, float]] = {
    "peat_crumbs": ("peat", 1.6), "soil_crumbs": ("red_brown_soil", 1.8), "black_crumbs": ("black_soil", 1.4),
    "perlite": ("paper", 2.2), "vermiculite_flakes": ("vermiculite", 2.0), "sand_grains": ("sand", 0.8),
    "bark_bits": ("coir", 4.0),
}  # fmt: skip
_TILE_PX = 900
SPILLS: tuple[str, ...] = tuple(_STUFF)


def spill(canvas: FloatArray, kind: str, raster: Raster, rng: np.random.Generator, *, amount: float) -> None:
    """Strew crumbs over the picture in place: thick in a few patches (heaps), thin between, none elsewhere."""
    medium, size_mm = _STUFF[kind]
    where = fractal_noise(raster, coarse_mm=rng.uniform(60, 250), fine_mm=6, rng=rng, gain=0.7)
    level = np.clip((where - np.float32(rng.uniform(0.6, 1.4) - 0.9 * amount)) * np.float32(0.45), 0, 1)
    bits = grains(raster, size_mm=size_mm * rng.uniform(0.7, 1.6), rng=rng, order=0.1)
    there = bits.pick(rng.random(bits.count).astype(np.float32)) < level * np.float32(0.8)
    round_off = np.clip(bits.edge_px - np.float32(0.25) * bits.core_px, 0, 1)
    crumbs = round_off * there
    heap = step(level + np.float32(0.12) * where, at=0.85, softness=0.3)
    alpha = np.maximum(crumbs, heap)
    shadow = blur(alpha, radius_px=max(0.5, raster.px(0.4 * size_mm)))
    moved = max(1, round(raster.px(0.3 * size_mm)))
    shadow = np.roll(shadow, (moved, moved), axis=(0, 1))
    canvas[...] = tint_by(canvas, 1 - np.float32(0.45) * shadow * (1 - alpha))
    canvas[...] = blend(canvas, paint_medium_sheet(medium, raster, rng, tile_px=_TILE_PX), alpha)
