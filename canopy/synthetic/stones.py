"""Stones lying over each other: gravel, pebbles, clay balls."""

from __future__ import annotations

import numpy as np

from canopy.synthetic.noise import FloatArray, Raster, fractal_noise, shading, smooth_noise
from canopy.synthetic.pigments import choose, tint_by
from canopy.synthetic.piles import pile


def paint_stones(
    raster: Raster,
    rng: np.random.Generator,
    *,
    size_mm: float,
    colours: tuple[str, ...],
    spread: float = 0.35,
    roundness: float = 0.7,
) -> FloatArray:
    """Heaped stones on a dark bottom, each with its own colour, veins and shade, and a dark gap about it.

    Parameters
    ----------
    raster : Raster
    rng : numpy.random.Generator
    size_mm : float
        Typical width.
    colours : tuple of str
        Hex colours to draw from.
    spread : float
        Sigma of the logarithm of the sizes.
    roundness : float
        0 sharp shards .. 1 balls.

    Returns
    -------
    (H, W, 3) float32 array, linear-light reflectance
    """
    bed = pile(
        raster, size_mm=size_mm, rng=rng, spread=spread, aspect=1.0 + 0.5 * (1 - roundness) + 0.1, layers=2.6,
        roughness=0.05 + 0.25 * (1 - roundness), corners=16 if roundness > 0.45 else 7,
    )  # fmt: skip
    palette = np.stack([choose(colours, rng, light=0.25, tint=0.04) for _ in range(64)])
    own = palette[bed.label % 64]
    fade = np.float32(bed.fade)
    lit = shading(bed.dome * np.float32(0.42 * size_mm), mm_per_px=raster.mm_per_px, strength=0.35 * bed.fade)
    tilt = bed.pick((0.12 * rng.standard_normal(bed.count)).astype(np.float32)) * fade
    grain = smooth_noise(raster, grain_mm=0.5, rng=rng) * np.float32(0.06)
    veins = fractal_noise(raster, coarse_mm=size_mm, fine_mm=1, rng=rng) * np.float32(0.08)
    near = np.clip(bed.edge_px / np.float32(max(1.0, 0.12 * raster.px(size_mm))), 0, 1)
    gap = (1 - np.float32(0.55) * fade * (1 - near)) * (np.float32(0.5) + np.float32(0.5) * bed.dome)
    return tint_by(own, lit * gap * (1 + grain + veins + tilt) * (1 - np.float32(0.8) * bed.bare))
