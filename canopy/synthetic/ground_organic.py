"""Wood and loose organic or earthen grounds: planks, boards, bark, straw, soil, sand, puddles."""

from __future__ import annotations

import cv2
import numpy as np

from canopy.synthetic.media import paint_medium
from canopy.synthetic.noise import FloatArray, Raster, fractal_noise, grains, shading, smooth_noise, step
from canopy.synthetic.pigments import blend, choose, flat, linear, ramp, tint_by, toned, vary, withered
from canopy.synthetic.piles import pile

WOODS = (
    ("#7a5230", "#a97c4e", "#cda777"), ("#4b3020", "#6f4a30", "#8f6745"), ("#b89468", "#d3b48a", "#e6cfab"),
    ("#6f6a62", "#8f897f", "#aaa59a"), ("#5e3a26", "#8a5232", "#b0744a"),
)  # fmt: skip


def _grain(raster: Raster, rng: np.random.Generator, *, knots: bool = True) -> FloatArray:
    """Wood grain 0..1 along x: wandering growth rings with rays, bent round knots."""
    x, y = raster.axes_mm()
    wander = smooth_noise(raster, grain_mm=(260, 60), rng=rng) * np.float32(rng.uniform(2, 9))
    level = y + wander
    if knots:
        for _ in range(int(rng.poisson(raster.area_mm2 / 1e5))):
            cx, cy = (
                rng.uniform(0, raster.width_px * raster.mm_per_px),
                rng.uniform(0, raster.height_px * raster.mm_per_px),
            )
            size = rng.uniform(4, 14)
            pull = np.exp(
                -np.square((x - np.float32(cx)) / np.float32(3.0 * size))
                - np.square((y - np.float32(cy)) / np.float32(size))
            )
            level = level + pull * np.float32(2.5 * size * rng.choice([-1, 1]))
    rings = np.sin(level * np.float32(2 * np.pi / rng.uniform(3, 14)))
    fine = smooth_noise(raster, grain_mm=(45, 0.6), rng=rng)
    return np.float32(0.55) + np.float32(0.16) * rings + np.float32(0.09) * fine


def planks(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Boards side by side, each with its own tone; bare, greyed or painted."""
    wide = rng.uniform(45, 190)
    _, y = raster.axes_mm()
    board = np.floor(y / np.float32(wide)).astype(np.int32)
    colours = [vary(c, rng, light=0.15) for c in WOODS[int(rng.integers(len(WOODS)))]]
    tone = rng.normal(0, 0.12, 4096).astype(np.float32)[board % 4096]
    wood = ramp(_grain(raster, rng) + tone, colours)
    if rng.random() < 0.35:
        paint = choose(("#e2e0da", "#6f8a8f", "#7d9070", "#8f3f35", "#4b5f7a"), rng)
        worn = step(fractal_noise(raster, coarse_mm=80, fine_mm=1, rng=rng, gain=0.75), at=1.0, softness=0.3)
        wood = blend(toned(raster, paint, 0.8 + 0.4 * wood.mean(axis=2)), wood, worn)
    inset = np.minimum(np.mod(y, np.float32(wide)), np.float32(wide) - np.mod(y, np.float32(wide))) - np.float32(
        rng.uniform(0.3, 3)
    )
    gap = np.clip(np.float32(0.5) - inset / np.float32(raster.mm_per_px), 0, 1)
    planked = tint_by(wood, np.broadcast_to(1 - np.float32(0.9) * gap, raster.shape))
    return _turn(planked, rng)


def plywood(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """One wide veneer."""
    colours = [vary(c, rng, light=0.1) for c in WOODS[int(rng.choice([0, 2, 4]))]]
    return _turn(ramp(np.float32(0.1) + np.float32(0.9) * _grain(raster, rng), colours), rng)


def _turn(albedo: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Flip at random; the shape stays."""
    return albedo[:, ::-1] if rng.random() < 0.5 else albedo


def strand_board(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Pressed board of long chips lying all ways."""
    chips = pile(raster, size_mm=rng.uniform(9, 20), rng=rng, aspect=4.5, roughness=0.06, corners=6, layers=3)
    colours = np.stack(
        [choose(("#b08b5a", "#c9a876", "#d9bd8e", "#957043", "#c29d66"), rng, light=0.1) for _ in range(32)]
    )
    fine = smooth_noise(raster, grain_mm=(12, 0.7), rng=rng) + smooth_noise(raster, grain_mm=(0.7, 12), rng=rng)
    rim = 1 - np.float32(0.3 * chips.fade) * (chips.edge_px < max(1.0, raster.px(0.4)))
    return tint_by(colours[chips.label % 32], rim * (1 + np.float32(0.06) * fine))


def soil(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Bare earth with clods: dark, brown, red or pale."""
    kind = str(rng.choice(["black_soil", "peat", "red_brown_soil", "pale_loam", "coir"]))
    base = paint_medium(kind, raster, rng)
    clods = grains(raster, size_mm=rng.uniform(8, 30), rng=rng, order=0.1)
    height = np.sqrt(np.minimum(clods.edge_px, clods.core_px)) * np.float32(raster.mm_per_px**0.5 * 0.6)
    height = height + fractal_noise(raster, coarse_mm=120, fine_mm=6, rng=rng, gain=0.7) * np.float32(2)
    lit = shading(height, mm_per_px=max(raster.mm_per_px, 0.5), strength=rng.uniform(0.2, 0.6))
    return tint_by(base, lit)


def sand(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Sand with ripples and prints."""
    ripples = fractal_noise(raster, coarse_mm=100, fine_mm=10, rng=rng)
    lit = shading(ripples * np.float32(3), mm_per_px=raster.mm_per_px, strength=0.5)
    return tint_by(paint_medium("sand", raster, rng), lit)


def bark(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Bark or wood chips: angular flakes of many browns, shadows between."""
    colours = np.stack(
        [choose(("#5b3a26", "#7d5334", "#a27a52", "#3a261a", "#b89468", "#6f5a48"), rng) for _ in range(32)]
    )
    size = rng.uniform(6, 18)
    flakes = pile(raster, size_mm=size, rng=rng, spread=0.5, aspect=1.8, roughness=0.22, corners=7, layers=3)
    streak = smooth_noise(raster, grain_mm=(14, 0.9), rng=rng) * np.float32(0.12)
    tilt = flakes.pick(rng.normal(1, 0.25, flakes.count).astype(np.float32))
    rim = np.float32(0.45) + np.float32(0.55) * np.clip(flakes.edge_px / np.float32(max(1.0, raster.px(1.2))), 0, 1)
    lit = shading(flakes.dome * np.float32(0.2 * size), mm_per_px=raster.mm_per_px, strength=0.3)
    return withered(
        tint_by(colours[flakes.label % 32], tilt * (1 + streak) * rim * lit * (1 - np.float32(0.8) * flakes.bare))
    )


def leaf_litter(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Dead leaves, brown to tan, lying over each other; never green."""
    leaves = pile(
        raster, size_mm=rng.uniform(15, 40), rng=rng, spread=0.4, aspect=2.0, roughness=0.22, corners=18, layers=2.2
    )
    colours = np.stack(
        [choose(("#7a5a3a", "#8f6f47", "#5d4330", "#a5845a", "#6b4a3a", "#94805f"), rng) for _ in range(32)]
    )
    curl = fractal_noise(raster, coarse_mm=16, fine_mm=1.2, rng=rng, gain=0.6)
    lit = shading(curl * np.float32(2.5) + leaves.dome * 3, mm_per_px=raster.mm_per_px, strength=0.45)
    rim = np.float32(0.5) + np.float32(0.5) * np.clip(leaves.edge_px / np.float32(max(1.0, raster.px(1.5))), 0, 1)
    tone = leaves.pick(rng.normal(1, 0.15, leaves.count).astype(np.float32)) * (1 + np.float32(0.1) * curl)
    return withered(blend(tint_by(colours[leaves.label % 32], lit * rim * tone), _dark_floor(raster, rng), leaves.bare))


def _dark_floor(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """What shows between litter: dark, crumbly, out of the light."""
    tone = fractal_noise(raster, coarse_mm=12, fine_mm=0.5, rng=rng, gain=0.75)
    return ramp(np.float32(0.4) + np.float32(0.2) * tone, [linear(c) for c in ("#0e0a08", "#2a1e17", "#4a382b")])


def straw_litter(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Straw lying all ways, pale on dark."""
    albedo = _dark_floor(raster, rng)
    for layer in range(4):
        canvas = np.zeros(raster.shape, np.uint8)
        for _ in range(min(1500, int(raster.area_mm2 / 160))):
            start = rng.uniform(0, 1, 2) * raster.shape[::-1]
            length, angle = raster.px(rng.uniform(15, 90)), rng.uniform(0, np.pi)
            end = start + length * np.array([np.cos(angle), np.sin(angle)])
            width = max(1, round(raster.px(rng.uniform(0.8, 2.6))))
            points = np.round(np.stack([start, end]) * 16).astype(np.int32)
            cv2.line(
                canvas,
                tuple(map(int, points[0])),
                tuple(map(int, points[1])),
                int(rng.integers(90, 255)),
                width,
                cv2.LINE_AA,
                4,
            )
        tone = canvas.astype(np.float32) / np.float32(255)
        shade = 0.55 + 0.15 * layer
        colour = vary("#d8bd7d", rng, light=0.15) * np.float32(shade)
        albedo = blend(albedo, toned(raster, colour, np.clip(tone * 1.3, 0, 1)), np.clip(tone * 4, 0, 1))
    return withered(albedo)


def wet_floor(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """A hard floor with puddles."""
    base = tint_by(
        flat(raster.shape, choose(("#8e8b85", "#6f6d69", "#a7a39a", "#5f6468"), rng)),
        1 + np.float32(0.10) * fractal_noise(raster, coarse_mm=60, fine_mm=0.7, rng=rng, gain=0.75),
    )
    field = fractal_noise(raster, coarse_mm=260, fine_mm=8, rng=rng, gain=0.45)
    water = step(field, at=rng.uniform(-0.2, 0.9), softness=0.12)
    rim = np.exp(-np.square((field - np.float32(0.35)) / np.float32(0.06)))
    sky = np.clip(
        fractal_noise(raster, coarse_mm=400, fine_mm=100, rng=rng) * np.float32(0.15) + np.float32(0.12), 0, 1
    )
    wet = base * np.float32(0.45) + (sky * np.float32(rng.uniform(0.1, 0.9)))[..., None]
    return np.asarray(np.clip(blend(base, wet, water) + (np.float32(0.05) * rim * water)[..., None], 0, 1), np.float32)
