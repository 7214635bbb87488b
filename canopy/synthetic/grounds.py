"""Surfaces that trays stand on: one picture of bare ground of a named kind."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from canopy.synthetic import ground_metals as metals
from canopy.synthetic import ground_minerals as minerals
from canopy.synthetic import ground_organic as organic
from canopy.synthetic import ground_sheets as sheets
from canopy.synthetic.noise import FloatArray, Raster, fractal_noise, step
from canopy.synthetic.pigments import blend, choose, hue_colour, tint_by

Painter = Callable[[Raster, np.random.Generator], FloatArray]

_PAINTERS: dict[str, Painter] = {
    painter.__name__: painter
    for painter in (
        metals.brushed_metal, metals.stainless, metals.galvanised, metals.rusty_metal, metals.painted_metal,
        metals.epoxy_floor, metals.perforated, metals.grating,
        minerals.gravel, minerals.pebbles, minerals.granite, minerals.speckled_slab, minerals.terrazzo,
        minerals.concrete, minerals.asphalt, minerals.tiles, minerals.brick, minerals.marble,
        sheets.black_film, sheets.white_film, sheets.clear_film, sheets.coloured_film, sheets.woven_cloth,
        sheets.netting, sheets.felt_mat, sheets.coloured_plastic, sheets.ribbed_plastic, sheets.cardboard,
        sheets.paper_sheet, sheets.fabric, sheets.void, sheets.plain_wall,
        organic.planks, organic.plywood, organic.strand_board, organic.soil, organic.sand, organic.bark,
        organic.straw_litter, organic.leaf_litter, organic.wet_floor,
    )
}  # fmt: skip
GROUNDS: tuple[str, ...] = tuple(_PAINTERS)


def paint_ground(kind: str, *, height_px: int, width_px: int, mm_per_px: float, rng: np.random.Generator) -> FloatArray:
    """Paint a bare surface; scale, tint, contrast and dirt are drawn from `rng`.

    Parameters
    ----------
    kind : str
        One of `GROUNDS`.
    height_px, width_px : int
    mm_per_px : float
        Textures keep their size in mm at any scale, and fade when finer than a pixel.
    rng : numpy.random.Generator
        Same state, same bytes.

    Returns
    -------
    (H, W, 3) float32 array
        Linear-light reflectance, sRGB primaries, 0..1.
    """
    if kind not in _PAINTERS:
        raise ValueError(f"ground {kind!r} is unknown; choose one of {', '.join(GROUNDS)}")
    raster = Raster(height_px, width_px, mm_per_px)
    albedo = _PAINTERS[kind](raster, rng)
    albedo = _tinted(albedo, rng)
    if rng.random() < 0.5:
        albedo = _dirty(albedo, raster, rng)
    if rng.random() < 0.06:
        albedo = _light_stripes(albedo, raster, rng)
    return np.clip(albedo, 0, 1).astype(np.float32)


def _tinted(albedo: FloatArray, rng: np.random.Generator) -> FloatArray:
    """A cast of any hue, more or less contrast, lighter or darker as a whole."""
    cast = np.exp(rng.normal(0, 0.05, 3) + rng.normal(0, 0.15)).astype(np.float32)
    mean = albedo.mean(axis=(0, 1))
    contrast = np.float32(np.exp(rng.normal(-0.05, 0.25)))
    return np.asarray(np.clip((mean + (albedo - mean) * contrast) * cast, 0, 1), np.float32)


def _dirty(albedo: FloatArray, raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Stains and dust."""
    field = fractal_noise(raster, coarse_mm=rng.uniform(60, 300), fine_mm=1.5, rng=rng, gain=0.7)
    stain = step(field, at=rng.uniform(0.4, 1.8), softness=rng.uniform(0.3, 1.5))
    albedo = blend(
        albedo, choose(("#3a2d22", "#6f6250", "#1d1b19", "#a79f92"), rng), stain * np.float32(rng.uniform(0.05, 0.5))
    )
    if rng.random() < 0.5:
        return albedo
    fine = fractal_noise(raster, coarse_mm=rng.uniform(1, 5), fine_mm=0.5, rng=rng, gain=0.8)
    specks = step(fine + np.float32(0.5) * field, at=rng.uniform(2.2, 3.2), softness=0.5)
    return blend(albedo, choose(("#2a211a", "#14110f", "#d8d4ca"), rng), specks * np.float32(0.8))


def _light_stripes(albedo: FloatArray, raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Bands of coloured light or shade, soft at the edge."""
    pitch = rng.uniform(25, 300)
    wave = np.sin(raster.along(float(rng.uniform(0, np.pi))) * np.float32(2 * np.pi / pitch))
    band = step(wave, at=rng.uniform(-0.5, 0.5), softness=rng.uniform(0.2, 1.5))
    light = 0.4 + hue_colour(rng.random(), rng.uniform(0.1, 0.8), 0.8)
    return blend(tint_by(albedo, np.full(raster.shape, 0.8, np.float32)), albedo * light.astype(np.float32), band)
