"""What grows and dries on a wet medium: algae, salt, shine. Never leaf-like: films are smooth, patchy and flat."""

from __future__ import annotations

import numpy as np

from canopy.synthetic.noise import FloatArray, Raster, fractal_noise, smooth_noise, step
from canopy.synthetic.pigments import blend, choose, tint_by, vary
from canopy.synthetic.piles import fibres
from canopy.synthetic.tray_cells import CellMap

ALGAE_COLOURS = ("#4d6b2f", "#5c7a3c", "#3b5a33", "#6a7a35", "#3d6650", "#57602c", "#2f5147", "#7a8b46")


def wetness(cells: CellMap, raster: Raster, rng: np.random.Generator, *, wet: float) -> tuple[FloatArray, FloatArray]:
    """Darkening and gloss of a medium that is `wet` (0..1) on average, uneven over cells and inside them."""
    level = np.clip(wet + 0.25 * rng.standard_normal(cells.count), 0, 1) if wet > 0 else np.zeros(cells.count)
    patch = fractal_noise(raster, coarse_mm=40, fine_mm=5, rng=rng)
    here = cells.pick(level.astype(np.float32)) * step(patch, at=-0.8, softness=2.0)
    film = step(here + np.float32(0.15) * patch, at=0.75, softness=0.35)
    return 1 - np.float32(0.45) * here, np.float32(0.6) * film + np.float32(0.15) * here


def add_salt(medium: FloatArray, cells: CellMap, raster: Raster, rng: np.random.Generator) -> FloatArray:
    """White crust along walls in some trays."""
    if rng.random() > 0.35:
        return medium
    near = np.exp(-np.maximum(cells.from_wall_mm, 0) / np.float32(rng.uniform(1, 4)))
    crust = step(
        fractal_noise(raster, coarse_mm=10, fine_mm=0.7, rng=rng) + 2 * near, at=rng.uniform(1.8, 3.0), softness=0.8
    )
    some = cells.pick((rng.random(cells.count) < rng.uniform(0.2, 0.9)).astype(np.float32))
    return blend(medium, vary("#cfc9ba", rng, light=0.1), crust * some * np.float32(rng.uniform(0.2, 0.7)))


def add_roots(medium: FloatArray, cells: CellMap, raster: Raster, rng: np.random.Generator) -> FloatArray:
    """White roots creeping over the surface of some cells of a few trays."""
    if rng.random() > 0.15:
        return medium
    rooted = fibres(
        medium, raster, rng, colours=[vary("#d9d2c0", rng, light=0.1)], per_cm2=rng.uniform(1, 6), long_mm=9,
        wide_mm=rng.uniform(0.1, 0.3),
    )  # fmt: skip
    some = cells.pick((rng.random(cells.count) < rng.uniform(0.1, 0.6)).astype(np.float32))
    return blend(medium, rooted, some * np.float32(0.8))


def add_moss(
    medium: FloatArray, cells: CellMap, raster: Raster, rng: np.random.Generator, *, amount: float
) -> FloatArray:
    """Small cushions of moss, rarely: dull, grainy, millimetres across."""
    if amount <= 0 or rng.random() > 0.2:
        return medium
    field = fractal_noise(raster, coarse_mm=9, fine_mm=0.5, rng=rng, gain=0.6)
    cushions = step(field, at=rng.uniform(1.2, 2.2), softness=0.4)
    grain = 1 + np.float32(0.4) * smooth_noise(raster, grain_mm=0.5, rng=rng)
    moss = tint_by(
        np.broadcast_to(choose(("#4a5526", "#5a6030", "#3c4a28"), rng), medium.shape), np.clip(grain, 0.3, 2)
    )
    some = cells.pick((rng.random(cells.count) < rng.uniform(0.05, 0.4)).astype(np.float32))
    return blend(medium, moss, cushions * some)


def add_algae(
    medium: FloatArray, cells: CellMap, raster: Raster, rng: np.random.Generator, *, amount: float
) -> FloatArray:
    """Smooth patches of green, brownish or bluish film over about `amount` (0..1) of the medium."""
    if amount <= 0:
        return medium
    level = np.clip(amount + 0.35 * rng.standard_normal(cells.count), -0.2, 1.1).astype(np.float32)
    patch = fractal_noise(raster, coarse_mm=28, fine_mm=1.5, rng=rng, gain=0.55)
    cover = step(patch + 2.4 * (cells.pick(level) - np.float32(0.5)), at=0.0, softness=rng.uniform(0.6, 1.8))
    thin = np.float32(0.75) + np.float32(0.25) * smooth_noise(raster, grain_mm=6, rng=rng)
    film = choose(ALGAE_COLOURS, rng, light=0.25, tint=0.06)
    second = choose(ALGAE_COLOURS, rng, light=0.25, tint=0.06)
    mixed = blend(np.broadcast_to(film, medium.shape), second, step(patch, at=0.8, softness=1.2))
    # A film lets some of what lies below show through, darkened: half of its colour is the medium's own tone.
    tone = medium.mean(axis=2) / np.float32(max(float(medium.mean()), 0.02))
    own = tint_by(mixed, np.clip(np.float32(0.6) + np.float32(0.4) * tone, 0, 1.2))
    return blend(medium, own, cover * np.clip(thin, 0.3, 0.95))
