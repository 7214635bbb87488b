"""Stones lying side by side: gravel, pebbles, clay balls, terrazzo chips."""

from __future__ import annotations

import numpy as np

from canopy.synthetic.noise import LIGHT_FROM, FloatArray, Raster, fractal_noise, grains, shading, smooth_noise
from canopy.synthetic.pigments import choose, tint_by


def paint_stones(
    raster: Raster,
    rng: np.random.Generator,
    *,
    size_mm: float,
    colours: tuple[str, ...],
    order: float = 0.4,
    roundness: float = 0.7,
) -> FloatArray:
    """Rounded stones packed on a dark bottom, each with its own colour, veins, shade and a dark gap about it.

    Parameters
    ----------
    raster : Raster
    rng : numpy.random.Generator
    size_mm : float
        Mean distance of stones.
    colours : tuple of str
        Hex colours to draw from.
    order : float
        0 many sizes, 1 one size.
    roundness : float
        0 flat slabs .. 1 balls.

    Returns
    -------
    (H, W, 3) float32 array, linear-light reflectance
    """
    bed = grains(raster, size_mm=size_mm, rng=rng, order=order)
    palette = np.stack([choose(colours, rng, light=0.25, tint=0.05) for _ in range(64)])
    own = palette[bed.label % 64]
    core = np.maximum(bed.core_px, 1)
    inward = np.clip(bed.edge_px / (np.float32(roundness) * core + np.float32(0.15)), 0, 1)
    dome = np.sqrt(1 - np.square(1 - inward))
    height = dome * core * np.float32(0.6 * raster.mm_per_px)
    lit = shading(height, mm_per_px=raster.mm_per_px, azimuth=LIGHT_FROM, strength=0.45 * bed.fade)
    tilt = bed.pick((0.12 * rng.standard_normal(bed.count)).astype(np.float32)) * np.float32(bed.fade)
    grain = smooth_noise(raster, grain_mm=0.5, rng=rng) * np.float32(0.05)
    veins = fractal_noise(raster, coarse_mm=size_mm, fine_mm=1, rng=rng) * np.float32(0.07)
    gap = 1 - np.float32(0.75 * bed.fade) * np.square(1 - np.clip(inward * 1.6, 0, 1))
    return tint_by(own, lit * gap * (1 + grain + veins + tilt))
