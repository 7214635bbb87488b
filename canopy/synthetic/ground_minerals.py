"""Mineral surfaces: stone, gravel, concrete, tiles, asphalt."""

from __future__ import annotations

import numpy as np

from canopy.synthetic.noise import FloatArray, Raster, fractal_noise, grains, shading, smooth_noise, step
from canopy.synthetic.pigments import blend, choose, flat, linear, ramp, tint_by, toned, vary
from canopy.synthetic.stones import paint_stones

STONE_SETS = (
    ("#8f8d88", "#b7b4ad", "#6d6b68", "#a7a198"),  # grey
    ("#c5b395", "#a8926e", "#dbcdb4", "#8c7a60"),  # beige
    ("#9a5f4a", "#b47f66", "#7b4a3c", "#c29c86"),  # reddish
    ("#e4e1da", "#cfcac0", "#f0eeea"),  # white
    ("#2e2f31", "#45474a", "#1d1e20", "#5c5f62"),  # black
    ("#8f8d88", "#c5b395", "#9a5f4a", "#4a4b4d", "#dcd8cf", "#6f7f86"),  # river mix
    ("#7d8a86", "#5d6f6c", "#9aa59f", "#46565a"),  # green-grey slate
)


def _stone_set(rng: np.random.Generator) -> tuple[str, ...]:
    return STONE_SETS[int(rng.integers(len(STONE_SETS)))]


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def gravel(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Broken or rounded stones of 3–15 mm, with some large ones."""
    size = _log_uniform(rng, 3, 15)
    base = paint_stones(raster, rng, size_mm=size, colours=_stone_set(rng), spread=0.4, roundness=rng.uniform(0.2, 1))
    sand = fractal_noise(raster, coarse_mm=120, fine_mm=8, rng=rng)
    return tint_by(base, 1 + np.float32(0.12) * sand)


def pebbles(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Rounded stones of 12–40 mm with small ones filling the gaps."""
    colours = _stone_set(rng)
    size = rng.uniform(12, 40)
    return paint_stones(raster, rng, size_mm=size, colours=colours, spread=rng.uniform(0.25, 0.6), roundness=0.9)


def granite(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Polished stone: crystals of two to five colours, each about 0.3–6 mm."""
    size = _log_uniform(rng, 0.4, 6)
    bed = grains(raster, size_mm=size, rng=rng, order=0.2)
    kinds = int(rng.integers(2, 6))
    base = choose(("#a9a6a1", "#d8d5cf", "#8b6f63", "#5d6066", "#b3977f", "#3a3b3d", "#8d938f", "#c8b9a5"), rng)
    palette = np.stack([vary(base, rng, light=0.55, tint=0.08) for _ in range(kinds)])
    share = rng.dirichlet(np.full(kinds, 1.2))
    kind = rng.choice(kinds, bed.count + 1, p=share)
    crystals = palette[kind][bed.label]
    average = (palette * share[:, None]).sum(axis=0).astype(np.float32)
    mixed = average + (crystals - average) * np.float32(bed.fade)
    cloud = fractal_noise(raster, coarse_mm=60 * size**0.5, fine_mm=size, rng=rng, gain=0.7)
    return tint_by(mixed, 1 + np.float32(rng.uniform(0.03, 0.15)) * cloud)


def speckled_slab(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Flecks of one to three colours in a plain matrix, with soft or sharp edges, at any scale (0.3–15 mm)."""
    base = choose(("#b9b6b0", "#d9d7d2", "#6f7072", "#3c3d3f", "#c9bda8", "#a8b0b2", "#8d8378"), rng)
    albedo = flat(raster.shape, base)
    for _ in range(int(rng.integers(1, 4))):
        grain = _log_uniform(rng, 0.3, 15)
        blobs = smooth_noise(raster, grain_mm=grain, rng=rng) + np.float32(0.5) * smooth_noise(
            raster, grain_mm=grain / 2.5, rng=rng
        )
        spots = step(blobs, at=rng.uniform(0.3, 1.6), softness=_log_uniform(rng, 0.15, 1.5))
        albedo = blend(albedo, vary(base, rng, light=0.7, tint=0.12), spots * np.float32(rng.uniform(0.4, 1)))
    return tint_by(albedo, 1 + np.float32(0.05) * fractal_noise(raster, coarse_mm=150, fine_mm=5, rng=rng))


def terrazzo(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Angular chips of several colours cast in cement."""
    cement = choose(("#cfccc5", "#8f8f8d", "#e6e3dc", "#b9a68e", "#4b4c4e", "#a9b3a9"), rng)
    albedo = tint_by(
        flat(raster.shape, cement), 1 + np.float32(0.05) * fractal_noise(raster, coarse_mm=20, fine_mm=0.8, rng=rng)
    )
    colours = np.stack([choose(_stone_set(rng), rng) for _ in range(int(rng.integers(3, 7)))])
    for size in (_log_uniform(rng, 6, 18), _log_uniform(rng, 2, 6)):
        bed = grains(raster, size_mm=size, rng=rng, order=0.1)
        inset = np.float32(rng.uniform(0.05, 0.16) * raster.px(size))
        own = colours[bed.label % len(colours)]
        there = bed.pick((rng.random(bed.count) < rng.uniform(0.35, 0.8)).astype(np.float32))
        albedo = blend(albedo, own, np.clip(bed.edge_px - inset, 0, 1) * there * np.float32(bed.fade))
    return albedo


def concrete(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Trowelled concrete: clouds, pores, stains, sometimes cracks."""
    base = choose(("#a9a6a0", "#8f8d89", "#bdb9b0", "#77756f", "#9a958a"), rng)
    cloud = fractal_noise(raster, coarse_mm=300, fine_mm=1, rng=rng, gain=0.72)
    sand = smooth_noise(raster, grain_mm=0.7, rng=rng)
    albedo = toned(raster, base, 1 + np.float32(0.10) * cloud + np.float32(0.05) * sand)
    pores = step(smooth_noise(raster, grain_mm=2.5, rng=rng), at=rng.uniform(2.2, 3.0), softness=0.4)
    albedo = tint_by(albedo, 1 - np.float32(0.6) * pores)
    if rng.random() < 0.6:
        stain = step(fractal_noise(raster, coarse_mm=200, fine_mm=10, rng=rng), at=0.7, softness=0.7)
        albedo = blend(albedo, vary(base, rng, light=0.2, tint=0.08) * np.float32(0.65), stain * np.float32(0.7))
    return cracks(albedo, raster, rng) if rng.random() < 0.5 else albedo


def cracks(albedo: FloatArray, raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Draw fine dark cracks: the border of very large cells, made ragged."""
    level = fractal_noise(raster, coarse_mm=400, fine_mm=4, rng=rng, gain=0.55)
    line = np.exp(-np.square(level * np.float32(raster.px(90) / max(raster.px(0.5), 0.7))))
    some = step(smooth_noise(raster, grain_mm=200, rng=rng), at=0.3, softness=0.5)
    return tint_by(albedo, 1 - np.float32(0.7) * line * some)


def asphalt(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Dark binder with pale and dark chips."""
    return paint_stones(
        raster, rng, size_mm=rng.uniform(3, 8), spread=0.4, roundness=0.3,
        colours=("#3a3a3b", "#4b4b4c", "#2b2b2c", "#6a6865", "#55524f"),
    )  # fmt: skip


def tiles(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Glazed, stone or quarry tiles with joints."""
    side = _log_uniform(rng, 20, 330)
    wide = side * float(rng.choice([1.0, 1.0, 2.0]))
    base = choose(("#d9d6cf", "#b7b2a8", "#8d4f3a", "#a9b0b3", "#6f7376", "#e8e8e6", "#7c8f7d", "#41586b"), rng)
    body = tint_by(
        flat(raster.shape, base), 1 + np.float32(0.06) * fractal_noise(raster, coarse_mm=40, fine_mm=1, rng=rng)
    )
    if rng.random() < 0.4:
        body = granite(raster, rng)
    return lay_tiles(body, raster, rng, wide_mm=wide, high_mm=side, joint_mm=rng.uniform(1.5, 6))


def lay_tiles(
    body: FloatArray, raster: Raster, rng: np.random.Generator, *, wide_mm: float, high_mm: float, joint_mm: float
) -> FloatArray:
    """Cut a surface into tiles: own tone each, rounded edge, joint between."""
    angle = float(rng.choice([0.0, rng.uniform(-0.1, 0.1), rng.uniform(0, np.pi)]))
    u, v = raster.along(angle) + np.float32(rng.uniform(0, 999)), raster.along(angle + np.pi / 2) + np.float32(999)
    row = np.floor(v / np.float32(high_mm))
    u = u + np.mod(row, 2) * np.float32(rng.choice([0.0, 0.5]) * wide_mm)
    col = np.floor(u / np.float32(wide_mm))
    du = np.float32(wide_mm / 2) - np.abs(u - (col + np.float32(0.5)) * np.float32(wide_mm))
    dv = np.float32(high_mm / 2) - np.abs(v - (row + np.float32(0.5)) * np.float32(high_mm))
    inset = np.minimum(du, dv) - np.float32(joint_mm / 2)
    tone = rng.normal(1, rng.uniform(0.01, 0.08), 4096).astype(np.float32)[
        np.mod(row * 67 + col, 4096).astype(np.int16)
    ]
    edge = np.sqrt(np.clip(inset / 2, 0, 1)) * np.float32(1.2)
    lit = shading(edge, mm_per_px=max(raster.mm_per_px, 0.3), strength=0.25)
    tiled = tint_by(body, tone * lit)
    grout = tint_by(
        flat(raster.shape, choose(("#8c8981", "#c9c6bf", "#55534f", "#6d675c"), rng)),
        1 + np.float32(0.15) * fractal_noise(raster, coarse_mm=60, fine_mm=1.5, rng=rng),
    )
    return blend(grout, tiled, np.clip(np.float32(0.5) + inset / np.float32(raster.mm_per_px), 0, 1))


def brick(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Brick or paving blocks."""
    base = choose(("#9a5440", "#7d4434", "#b0745a", "#8b8680", "#a49a88"), rng)
    body = tint_by(
        flat(raster.shape, base),
        1 + np.float32(0.16) * fractal_noise(raster, coarse_mm=40, fine_mm=0.8, rng=rng, gain=0.75),
    )
    return lay_tiles(
        body, raster, rng, wide_mm=rng.uniform(180, 230), high_mm=rng.uniform(60, 110), joint_mm=rng.uniform(2, 9)
    )


def marble(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Veined stone."""
    warp = fractal_noise(raster, coarse_mm=rng.uniform(60, 250), fine_mm=2, rng=rng, gain=0.6)
    veins = np.asarray(np.exp(-np.abs(warp) * np.float32(rng.uniform(4, 12))), np.float32)
    cloud = fractal_noise(raster, coarse_mm=120, fine_mm=8, rng=rng)
    stops = [("#5f6264", "#c5c4c0", "#e5e3de"), ("#2a2c2b", "#3d403f", "#565a58"), ("#7a6a58", "#cbbba2", "#e3d8c5")]
    colours = [linear(c) for c in stops[int(rng.integers(3))]]
    return ramp(np.float32(0.75) + np.float32(0.10) * cloud - np.float32(0.5) * veins, colours)
