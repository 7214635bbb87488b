"""Metal and painted benches: brushed, galvanised, stainless, rusty, painted, perforated, grated."""

from __future__ import annotations

import cv2
import numpy as np

from canopy.synthetic.noise import FloatArray, Raster, fractal_noise, grains, smooth_noise, step
from canopy.synthetic.pigments import blend, choose, flat, linear, ramp, tint_by, toned, vary

STEELS = ("#8b8d8f", "#a3a5a6", "#6d6f71", "#b6b8b8", "#7f8386")


def brushed_metal(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Long fine streaks, a broad glare band."""
    along = (rng.uniform(40, 300), rng.uniform(0.3, 1.0))
    streaks = smooth_noise(raster, grain_mm=along if rng.random() < 0.5 else along[::-1], rng=rng)
    albedo = toned(raster, choose(STEELS, rng), 1 + np.float32(rng.uniform(0.03, 0.12)) * streaks)
    return scratches(glare(albedo, raster, rng), raster, rng, strength=0.2)


def stainless(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Smooth steel that mirrors a bright ceiling in soft bands."""
    sheen = fractal_noise(raster, coarse_mm=400, fine_mm=60, rng=rng, gain=0.5)
    colours = [vary(c, rng, light=0.1, tint=0.03) for c in ("#4d5052", "#8f9294", "#d2d4d5")]
    albedo = ramp(np.float32(0.5) + np.float32(0.2) * sheen, colours)
    for _ in range(2):
        albedo = glare(albedo, raster, rng)
    return scratches(albedo, raster, rng, strength=0.25)


def galvanised(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Zinc flowers: angular crystals of slightly different grey."""
    flowers = grains(raster, size_mm=rng.uniform(4, 25), rng=rng, order=0.1)
    tone = flowers.pick(rng.normal(0, 1, flowers.count).astype(np.float32)) * np.float32(flowers.fade)
    feather = smooth_noise(raster, grain_mm=(6, 0.6), rng=rng) * tone
    cloud = fractal_noise(raster, coarse_mm=150, fine_mm=4, rng=rng)
    factor = 1 + np.float32(0.09) * tone + np.float32(0.03) * feather + np.float32(0.05) * cloud
    albedo = toned(raster, choose(("#9aa0a3", "#aab0b2", "#868b8e"), rng), factor)
    white_rust = step(cloud + np.float32(0.4) * smooth_noise(raster, grain_mm=2, rng=rng), at=1.5, softness=0.6)
    return scratches(blend(albedo, linear("#d5d7d6"), white_rust * np.float32(0.5)), raster, rng, strength=0.15)


def rusty_metal(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Sheet eaten by rust in patches."""
    return rust(brushed_metal(raster, rng), raster, rng, share=rng.uniform(0.3, 0.9))


def painted_metal(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Enamelled sheet of any colour (also blue, green, grey) with scratches and rusty chips."""
    colour = choose(
        ("#8d9499", "#4a5a66", "#e3e3df", "#2a4f86", "#4f6f56", "#b9b4a4", "#33373a", "#7a8f8a", "#a33f33"), rng
    )
    wear = fractal_noise(raster, coarse_mm=200, fine_mm=2, rng=rng)
    albedo = scratches(toned(raster, colour, 1 + np.float32(0.04) * wear), raster, rng, strength=0.3)
    return rust(albedo, raster, rng, share=rng.uniform(0.0, 0.15))


def epoxy_floor(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Floor paint: smooth, faintly mottled, with a gleam; grey, blue, green or beige."""
    colour = choose(("#8b8f92", "#5a6b78", "#5f7d68", "#b3a78c", "#6f8f7f", "#4c5154", "#9aa58a"), rng)
    mottle = fractal_noise(raster, coarse_mm=90, fine_mm=2, rng=rng)
    albedo = glare(toned(raster, colour, 1 + np.float32(0.03) * mottle), raster, rng)
    chips = step(smooth_noise(raster, grain_mm=rng.uniform(1, 4), rng=rng), at=2.0, softness=0.3)
    if rng.random() < 0.4:
        albedo = blend(albedo, vary(colour, rng, light=0.8), chips)
    return scratches(albedo, raster, rng, strength=0.15)


def perforated(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """A bench or shelf with round holes in a square or staggered grid; dark on light, or light below dark."""
    pitch, share = rng.uniform(6, 60), rng.uniform(0.3, 0.7)
    sheet = [brushed_metal, painted_metal, galvanised, _smooth_plastic][int(rng.integers(4))](raster, rng)
    u, v = _turned(raster, rng)
    row = np.floor(v / np.float32(pitch))
    u = u + np.mod(row, 2) * np.float32(rng.choice([0.0, 0.5]) * pitch)
    du, dv = np.mod(u, np.float32(pitch)) - np.float32(pitch / 2), np.mod(v, np.float32(pitch)) - np.float32(pitch / 2)
    inside = np.float32(pitch * share / 2) - np.sqrt(du * du + dv * dv)
    return _cut(sheet, inside, raster, rng)


def grating(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Bars or expanded mesh over depth, light on dark or dark on light."""
    pitch_u, pitch_v = rng.uniform(8, 50), rng.uniform(8, 110)
    sheet = [brushed_metal, painted_metal, galvanised, _smooth_plastic][int(rng.integers(4))](raster, rng)
    u, v = _turned(raster, rng)
    if rng.random() < 0.35:
        u, v = u + v * np.float32(0.5), u - v * np.float32(0.5)  # diamonds
    bar = rng.uniform(0.12, 0.4) * min(pitch_u, pitch_v)
    du, dv = np.mod(u, np.float32(pitch_u)), np.mod(v, np.float32(pitch_v))
    inside = np.minimum(
        np.minimum(du, np.float32(pitch_u) - du), np.minimum(dv, np.float32(pitch_v) - dv)
    ) - np.float32(bar / 2)
    return _cut(sheet, inside, raster, rng)


def _smooth_plastic(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colour = choose(("#e5e5e2", "#202123", "#8c8f91", "#2f63a0", "#5a8465", "#c9c2ae"), rng)
    return tint_by(
        flat(raster.shape, colour), 1 + np.float32(0.03) * fractal_noise(raster, coarse_mm=80, fine_mm=3, rng=rng)
    )


def _turned(raster: Raster, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    angle = float(rng.choice([0.0, np.pi / 2, rng.uniform(-0.15, 0.15), rng.uniform(0, np.pi)]))
    offset = rng.uniform(500, 999, 2).astype(np.float32)
    return raster.along(angle) + offset[0], raster.along(angle + np.pi / 2) + offset[1]


def _cut(sheet: FloatArray, inside_mm: FloatArray, raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Show depth where `inside_mm` is positive: dark, or now and then bright; a lit lip round each hole."""
    depth = vary(str(rng.choice(["#0b0b0c", "#1a1a1a", "#2b2622", "#c9c9c4"], p=[0.45, 0.25, 0.2, 0.1])), rng)
    below = tint_by(
        flat(raster.shape, depth), 1 + np.float32(0.3) * fractal_noise(raster, coarse_mm=150, fine_mm=15, rng=rng)
    )
    hole = np.clip(np.float32(0.5) + inside_mm / np.float32(raster.mm_per_px), 0, 1)
    lip = np.exp(-np.square((inside_mm + np.float32(0.8)) / np.float32(0.8)))
    return blend(tint_by(sheet, 1 + np.float32(rng.uniform(-0.3, 0.3)) * lip), below, hole)


def glare(albedo: FloatArray, raster: Raster, rng: np.random.Generator) -> FloatArray:
    """A broad soft band or spot of mirrored light."""
    size = max(raster.shape) * raster.mm_per_px
    across = raster.along(float(rng.uniform(0, np.pi)))
    middle, width = rng.uniform(float(across.min()), float(across.max())), rng.uniform(0.08, 0.35) * size
    band = np.exp(-np.square((across - np.float32(middle)) / np.float32(width)))
    if rng.random() < 0.5:
        other = raster.along(float(rng.uniform(0, np.pi)))
        band = band * np.exp(-np.square((other - np.float32(rng.uniform(0, size))) / np.float32(width)))
    return np.asarray(np.clip(albedo + (np.float32(rng.uniform(0.05, 0.5)) * band)[..., None], 0, 1), np.float32)


def scratches(albedo: FloatArray, raster: Raster, rng: np.random.Generator, *, strength: float) -> FloatArray:
    """Fine lines of any direction, lighter or darker than the surface."""
    lines = np.zeros(raster.shape, np.uint8)
    for _ in range(int(rng.integers(5, 60))):
        start = rng.uniform(0, 1, 2) * raster.shape[::-1]
        length, angle = raster.px(rng.uniform(10, 200)), rng.uniform(0, 2 * np.pi)
        end = start + length * np.array([np.cos(angle), np.sin(angle)])
        ends = np.round(np.clip(np.stack([start, end]), -1e4, 1e5) * 16).astype(np.int32)
        cv2.line(
            lines, tuple(map(int, ends[0])), tuple(map(int, ends[1])), int(rng.integers(60, 255)), 1, cv2.LINE_AA, 4
        )
    sign = np.float32(strength * rng.choice([-1, 1]))
    return np.clip(albedo * (1 + sign * lines[..., None].astype(np.float32) / np.float32(255)), 0, 1)


def rust(albedo: FloatArray, raster: Raster, rng: np.random.Generator, *, share: float) -> FloatArray:
    """Rust spots and patches over about `share` of the surface."""
    field = fractal_noise(raster, coarse_mm=rng.uniform(20, 150), fine_mm=0.8, rng=rng, gain=0.72)
    where = step(field, at=1.6 - 2.4 * share, softness=0.5)
    tone = fractal_noise(raster, coarse_mm=20, fine_mm=0.6, rng=rng, gain=0.75)
    colours = [vary(c, rng, light=0.1, tint=0.03) for c in ("#3a1f14", "#6f3a1d", "#a4622f")]
    return blend(albedo, ramp(np.float32(0.5) + np.float32(0.2) * tone, colours), where)
