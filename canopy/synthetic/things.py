"""Loose things that lie about or reach into the picture: tools, pegs, labels, coins, leaf litter, water."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from canopy.synthetic.noise import LIGHT_FROM, FloatArray, Raster, blur, fractal_noise, shading
from canopy.synthetic.pigments import blend, choose, flat, hue_colour, linear, tint_by, vary, withered
from canopy.synthetic.shapes import Patch, Stamp, blob_outline, thread

ThingPainter = Callable[[float, np.random.Generator], Stamp]

PLASTICS = (
    "#c83a2e", "#e0b429", "#2c62ad", "#ececea", "#1d1d1f", "#e2762a", "#7f4a9c", "#d65f8f", "#2f8a5b", "#6b8f3a",
    "#8a8d90", "#45a6b5", "#b9d04a", "#4c5a2b",
)  # fmt: skip
STEEL = ("#9a9c9e", "#b9bbbd", "#77797b")
DRY_LEAF = ("#8a6a3f", "#6b4a2b", "#a8864f", "#4d3723", "#b79a63", "#7a5a48", "#8f7b57")


def _patch(reach_mm: float, mm_per_px: float, rng: np.random.Generator) -> Patch:
    return Patch.around(reach_mm, mm_per_px=mm_per_px, angle=float(rng.uniform(0, 2 * np.pi)))


def _moulded(patch: Patch, distance: FloatArray, colour: FloatArray, *, edge_mm: float, gloss: float = 0.3) -> Stamp:
    """A body with a rounded edge, shaded from the light's side, with a highlight along the lit edge."""
    inward = np.clip(-distance / np.float32(edge_mm), 0, 1)
    height = np.sqrt(1 - np.square(1 - inward)) * np.float32(edge_mm)
    lit = shading(height, mm_per_px=patch.mm_per_px, strength=0.45)
    shine = np.clip(lit - np.float32(1.18), 0, 1) * np.float32(2 * gloss)
    albedo = np.clip(tint_by(flat(distance.shape, colour), lit) + shine[..., None], 0, 1)
    return Stamp(albedo, patch.cover(distance), height_mm=2 * edge_mm)


def peg(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A coloured plastic peg or plug."""
    long, wide = rng.uniform(8, 60), rng.uniform(2, 8)
    patch = _patch(long / 2 + wide, mm_per_px, rng)
    shape = patch.box(long / 2, wide / 2, corner=wide * rng.uniform(0.1, 0.5))
    if rng.random() < 0.4:
        shape = np.minimum(shape, patch.disc(wide * rng.uniform(0.7, 1.1), at=(long / 2 - wide / 2, 0)))
    return _moulded(patch, shape, choose(PLASTICS, rng), edge_mm=wide * 0.35)


def clip(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A spring clip: two jaws and a wire ring."""
    long, wide = rng.uniform(18, 45), rng.uniform(7, 14)
    patch = _patch(long / 2 + wide, mm_per_px, rng)
    jaws = np.minimum(
        patch.bar((-long / 2, wide * 0.3), (long / 2, wide * 0.12), wide * 0.2),
        patch.bar((-long / 2, -wide * 0.3), (long / 2, -wide * 0.12), wide * 0.2),
    )
    body = _moulded(patch, jaws, choose(PLASTICS, rng), edge_mm=wide * 0.15)
    ring = np.abs(patch.disc(wide * 0.32)) - np.float32(0.7)
    cover = patch.cover(ring)
    albedo = blend(body.albedo, choose(STEEL, rng), cover)
    return Stamp(albedo, np.maximum(body.alpha, cover), height_mm=6)


def label_stick(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A plant label: a pointed plastic or wooden strip with writing."""
    long, wide = rng.uniform(50, 120), rng.uniform(10, 20)
    patch = _patch(long / 2 + 3, mm_per_px, rng)
    strip = np.maximum(patch.box(long / 2, wide / 2, corner=1.0), np.abs(patch.v) * 1.2 + patch.u - long / 2)
    colour = choose(
        ("#f0efea", "#f0efea", "#e8d34a", "#d9bb8a", "#7fae62", "#8fb8d8", "#e59ab0", "#2f7a4a"), rng, light=0.1
    )
    body = _moulded(patch, strip.astype(np.float32), colour, edge_mm=0.6)
    return Stamp(_written(body.albedo, patch, rng, long=long, wide=wide), body.alpha, height_mm=1.5)


def _written(albedo: FloatArray, patch: Patch, rng: np.random.Generator, *, long: float, wide: float) -> FloatArray:
    """Scrawl in one or two lines: short strokes, not letters."""
    ink = choose(("#1a1a1c", "#20304f", "#5a2222"), rng)
    for line in np.linspace(-0.22, 0.22, int(rng.integers(1, 3))) * wide:
        u = -long * 0.42
        while u < long * rng.uniform(0.0, 0.3):
            height, lean = rng.uniform(0.6, 0.17 * wide), rng.uniform(-0.8, 0.8)
            stroke = patch.bar((u, line - height), (u + lean, line + height), 0.25)
            albedo = blend(albedo, ink, patch.cover(stroke) * np.float32(0.85))
            u += rng.uniform(1.2, 3.5)
    return albedo


def stake(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A thin stake of bamboo, plastic or wire."""
    long, radius = rng.uniform(60, 260), rng.uniform(0.8, 3.5)
    patch = _patch(long / 2 + 4, mm_per_px, rng)
    rod = patch.bar((-long / 2, 0), (long / 2, 0), radius)
    colour = choose(("#c7a869", "#a98d55", "#3c6b44", "#d8d6cf", "#2a2a2b", "#8f9193"), rng)
    stamp = _moulded(patch, rod, colour, edge_mm=radius)
    knots = 1 - np.float32(0.25) * (np.abs(np.mod(patch.u, 45) - 20) < 0.8)
    return Stamp(tint_by(stamp.albedo, knots), stamp.alpha, height_mm=2 * radius)


def coin(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A coin, washer or bottle cap."""
    radius = rng.uniform(7, 16)
    patch = _patch(radius + 1, mm_per_px, rng)
    disc = patch.disc(radius)
    metal = rng.random() < 0.5
    colour = choose(("#b08d57", "#9c9d9f", "#a8663f", "#c9b037"), rng) if metal else choose(PLASTICS, rng)
    height = np.float32(0.35) * np.sin(np.clip(-disc, 0, 3) * np.float32(2.2))
    lit = shading(height, mm_per_px=mm_per_px, strength=0.4)
    if rng.random() < 0.3:
        disc = np.maximum(disc, np.float32(radius * 0.45) - np.hypot(patch.u, patch.v))
    return Stamp(tint_by(flat(disc.shape, colour), lit), patch.cover(disc), height_mm=2)


def screw(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """The head of a screw, or the hole where one was."""
    radius = rng.uniform(2, 6)
    patch = _patch(radius + 1, mm_per_px, rng)
    disc = patch.disc(radius)
    if rng.random() < 0.5:
        return Stamp(flat(disc.shape, vary("#0a0a0a", rng)), patch.cover(disc))
    head = _moulded(patch, disc, choose(STEEL, rng), edge_mm=radius * 0.5)
    slot = np.minimum(patch.box(radius * 0.6, radius * 0.12), patch.box(radius * 0.12, radius * 0.6))
    return Stamp(blend(head.albedo, linear("#1c1c1c"), patch.cover(slot)), head.alpha, height_mm=1.5)


def scissors(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """Scissors or snips: two steel blades and two loops."""
    long = rng.uniform(60, 110)
    patch = _patch(long + 5, mm_per_px, rng)
    spread = rng.uniform(0.05, 0.3)
    steel = np.full(patch.u.shape, 1e3, np.float32)
    loops = steel.copy()
    for way in (-1, 1):
        tip = (long * np.cos(spread), way * long * np.sin(spread))
        grip = (-0.55 * long * np.cos(spread), -way * 0.55 * long * np.sin(spread) - way * 8)
        blade = patch.bar((0, 0), tip, 1.5) - np.float32(0.045) * np.clip(long - patch.u, 0, long)
        steel = np.minimum(steel, np.minimum(blade, patch.bar((0, 0), (grip[0] * 0.6, grip[1] * 0.6), 3)))
        loops = np.minimum(loops, np.abs(patch.disc(12, at=grip)) - np.float32(3.2))
    blades = _moulded(patch, steel, choose(STEEL, rng, light=0.15), edge_mm=1.5, gloss=0.6)
    handles = _moulded(patch, loops, choose(PLASTICS, rng), edge_mm=2.5)
    return Stamp(
        blend(blades.albedo, handles.albedo, handles.alpha), np.maximum(blades.alpha, handles.alpha), height_mm=5
    )


def trowel(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A small trowel or spatula."""
    long, wide = rng.uniform(60, 110), rng.uniform(18, 40)
    patch = _patch(long + 40, mm_per_px, rng)
    blade = np.maximum(
        patch.box(long / 2, wide / 2, corner=wide * 0.4, at=(long / 2, 0)),
        np.abs(patch.v) + 0.4 * patch.u - 0.45 * long,
    )
    steel = _moulded(
        patch, blade.astype(np.float32), choose((*STEEL, "#3a3c3e", "#3f6b4a"), rng), edge_mm=wide * 0.35, gloss=0.5
    )
    grip = _moulded(
        patch, patch.bar((-long * 0.9, 0), (-long * 0.1, 0), 6), choose((*PLASTICS, "#9c7446"), rng), edge_mm=6
    )
    return Stamp(blend(steel.albedo, grip.albedo, grip.alpha), np.maximum(steel.alpha, grip.alpha), height_mm=8)


def pipette(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A pipette, pen or marker: a tube with a coloured end."""
    long, radius = rng.uniform(60, 90), rng.uniform(3.5, 8)
    patch = _patch(long + 10, mm_per_px, rng)
    tube = _moulded(
        patch,
        patch.bar((-long, 0), (long * 0.6, 0), radius),
        choose(("#e6e6e4", "#2c2d30", "#c8cacc"), rng),
        edge_mm=radius,
    )
    end = _moulded(
        patch, patch.bar((long * 0.55, 0), (long, 0), radius * 0.6), choose(PLASTICS, rng), edge_mm=radius * 0.5
    )
    return Stamp(blend(tube.albedo, end.albedo, end.alpha), np.maximum(tube.alpha, end.alpha), height_mm=2 * radius)


def ruler(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A ruler with millimetre ticks."""
    long, wide = rng.uniform(100, 300), rng.uniform(20, 35)
    patch = _patch(long / 2 + wide, mm_per_px, rng)
    body = patch.box(long / 2, wide / 2, corner=1.0)
    colour = choose(("#c9cbcd", "#e2c23f", "#efeeea", "#d7b98a", "#b4d0a8"), rng, light=0.1)
    stamp = _moulded(patch, body, colour, edge_mm=0.8)
    along = patch.u + np.float32(long / 2)
    ticks = np.zeros(body.shape, np.float32)
    for every, length in ((1.0, 3.0), (5.0, 5.0), (10.0, 7.0)):
        line = np.abs(np.mod(along + np.float32(every / 2), np.float32(every)) - np.float32(every / 2)) - np.float32(
            0.12
        )
        fade = np.float32(min(1.0, (every / mm_per_px / 3) ** 2))
        ticks = np.maximum(
            ticks, fade * patch.cover(line) * (patch.v > wide / 2 - length) * (np.abs(patch.u) < long / 2 - 3)
        )
    return Stamp(blend(stamp.albedo, linear("#1b1b1b"), ticks), stamp.alpha, height_mm=2)


def paper_note(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A sheet, sticky note or coloured label with some print."""
    wide, high = rng.uniform(25, 110), rng.uniform(20, 80)
    patch = _patch(np.hypot(wide, high) / 2 + 2, mm_per_px, rng)
    sheet = patch.box(wide / 2, high / 2)
    colour = choose(
        ("#f2f1ec", "#f2f1ec", "#f0d84a", "#ef9fb6", "#a5d67a", "#8ec5e8", "#f0a044", "#3f9a58"), rng, light=0.08
    )
    raster = Raster.of(sheet, mm_per_px=mm_per_px)
    wave = fractal_noise(raster, coarse_mm=40, fine_mm=8, rng=rng)
    albedo = tint_by(flat(sheet.shape, colour), 1 + np.float32(0.05) * wave)
    for line in np.arange(-high * 0.35, high * 0.35, rng.uniform(3, 7)):
        words = np.sin(patch.u * np.float32(rng.uniform(0.5, 1.5)) + np.float32(rng.uniform(0, 6))) > -0.5
        text = patch.cover(patch.box(wide * 0.4, 0.5, at=(0, float(line)))) * words
        albedo = blend(albedo, linear("#2a2a2e"), text * np.float32(0.75))
    return Stamp(albedo, patch.cover(sheet), height_mm=0.8)


def stone(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A single stone."""
    radius = rng.uniform(1.5, 14)
    return _lump(
        mm_per_px, rng, radius, choose(("#8f8a82", "#b5ab9b", "#6e5c50", "#55585a", "#a87a5f"), rng), roughness=0.18
    )


def leaf_bit(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A dead, dry piece of leaf: brown or tan, curled, never green."""
    radius = rng.uniform(2, 16)
    return _lump(
        mm_per_px,
        rng,
        radius,
        withered(choose(DRY_LEAF, rng)),
        roughness=0.4,
        squash=float(rng.uniform(0.3, 0.8)),
        curl=0.5,
    )


def straw(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A straw or splinter."""
    long, radius = rng.uniform(6, 60), rng.uniform(0.3, 1.4)
    patch = _patch(long / 2 + 2, mm_per_px, rng)
    bend = np.float32(rng.uniform(-0.004, 0.004)) * np.square(patch.u)
    rod = Patch(patch.u, patch.v - bend, mm_per_px).bar((-long / 2, 0), (long / 2, 0), radius)
    return _moulded(patch, rod, choose(("#cdb272", "#b0925a", "#8a6f45", "#e0cf9f"), rng), edge_mm=radius)


def _lump(
    mm_per_px: float,
    rng: np.random.Generator,
    radius: float,
    colour: FloatArray,
    *,
    roughness: float,
    squash: float = 0.8,
    curl: float = 0.0,
) -> Stamp:
    patch = _patch(radius * 1.9, mm_per_px, rng)
    alpha = patch.polygon(blob_outline(radius, rng, roughness=roughness, squash=squash))
    raster = Raster.of(alpha, mm_per_px=mm_per_px)
    dome = blur(alpha, radius_px=max(0.5, raster.px(radius) * 0.35)) * np.float32(radius)
    waves = fractal_noise(raster, coarse_mm=max(radius, 1), fine_mm=max(radius / 8, 0.3), rng=rng)
    height = dome * np.float32(1 - curl) + waves * np.float32(radius * (0.04 + 0.35 * curl))
    lit = shading(height, mm_per_px=mm_per_px, strength=0.5)
    tone = (1 + np.float32(0.12) * waves) * lit
    return Stamp(tint_by(flat(alpha.shape, colour), tone), alpha, height_mm=0.5 * radius)


def rubber_band(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A rubber band or cable tie, closed."""
    patch = _patch(40, mm_per_px, rng)
    outline = np.append(pts := blob_outline(rng.uniform(10, 24), rng, roughness=0.35, corners=48), pts[:1], axis=0)
    return _wire(
        patch, outline, rng.uniform(0.5, 1.4), choose(("#b98a4f", "#c23b30", "#3a6aa8", "#4f8f4a", "#222222"), rng)
    )


def _wire(patch: Patch, points: FloatArray, radius: float, colour: FloatArray) -> Stamp:
    n = (patch.u.shape[0] - 1) / 2
    alpha, profile, side = thread(points / patch.mm_per_px + n, radius_px=radius / patch.mm_per_px, shape=patch.u.shape)
    lit = (1 - np.float32(0.35) * profile**2) * (1 + np.float32(0.3) * side)
    return Stamp(tint_by(flat(alpha.shape, colour), lit), alpha, height_mm=2 * radius)


def tag(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A flat piece of coloured plastic or card of any size and hue."""
    half_u, half_v = rng.uniform(3, 45), rng.uniform(2, 30)
    patch = _patch(float(np.hypot(half_u, half_v)) + 2, mm_per_px, rng)
    shape = patch.box(half_u, half_v, corner=min(half_u, half_v) * rng.uniform(0, 1))
    colour = hue_colour(rng.random(), rng.uniform(0.1, 0.85), rng.uniform(0.1, 0.75))
    return _moulded(patch, shape, colour, edge_mm=rng.uniform(0.4, 2))


def droplet(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A drop of water: bent light darkens one side, brightens the other, and a small glint sits on top."""
    radius = float(np.exp(rng.uniform(np.log(0.5), np.log(5))))
    patch = _patch(radius * 1.5, mm_per_px, rng)
    alpha = patch.polygon(blob_outline(radius, rng, roughness=0.12, squash=float(rng.uniform(0.75, 1))))
    n = (alpha.shape[0] - 1) / 2
    x = (np.arange(alpha.shape[0], dtype=np.float32) - n) * np.float32(mm_per_px / radius)
    towards = np.float32(np.cos(LIGHT_FROM)) * x[None] + np.float32(np.sin(LIGHT_FROM)) * x[:, None]
    glint = np.exp(-np.square((x[None] + 0.35) / 0.18) - np.square((x[:, None] + 0.4) / 0.18))
    bright = np.clip(0.25 - 0.35 * towards, 0, 1)
    albedo = np.repeat((bright + glint)[..., None], 3, axis=2).astype(np.float32)
    weight = alpha * np.clip(0.18 + 0.28 * np.abs(towards) + glint, 0, 1).astype(np.float32)
    return Stamp(np.clip(albedo, 0, 1), weight)


def puddle(mm_per_px: float, rng: np.random.Generator) -> Stamp:
    """A film of water: what lies below looks darker, with a bright rim where it curves."""
    radius = float(np.exp(rng.uniform(np.log(6), np.log(60))))
    patch = _patch(radius * 1.9, mm_per_px, rng)
    inside = patch.polygon(blob_outline(radius, rng, roughness=0.5, corners=60))
    rim = np.abs(cv2.Sobel(blur(inside, radius_px=1.0 + 0.4 / mm_per_px), cv2.CV_32F, 1, 1, ksize=3))
    sky = blur(inside, radius_px=radius / mm_per_px * 0.2) * np.float32(rng.uniform(0, 0.25))
    albedo = np.repeat((np.float32(0.02) + sky + rim)[..., None], 3, axis=2)
    return Stamp(np.clip(albedo, 0, 1).astype(np.float32), inside * np.float32(rng.uniform(0.25, 0.5)))
