"""Sheets: plastic film, cloth, felt, nets, boards, paper, coloured plastic."""

from __future__ import annotations

import numpy as np

from canopy.synthetic.media import paint_medium
from canopy.synthetic.noise import FloatArray, Raster, blur, fractal_noise, shading, smooth_noise, step
from canopy.synthetic.pigments import blend, choose, flat, hue_colour, linear, tint_by, toned, vary


def _wrinkled(raster: Raster, rng: np.random.Generator, colour: FloatArray, *, glint: float) -> FloatArray:
    """Film with folds: ridged noise, shaded, with sharp glints on the lit flank."""
    coarse = rng.uniform(50, 220)
    soft = fractal_noise(raster, coarse_mm=coarse, fine_mm=coarse / 10, rng=rng, gain=0.45)
    folds = 1 - np.abs(fractal_noise(raster, coarse_mm=0.7 * coarse, fine_mm=3, rng=rng, gain=0.45))
    height = np.asarray(soft * np.float32(0.04 * coarse) + folds * np.float32(0.035 * coarse), np.float32)
    lit = shading(blur(height, radius_px=raster.px(0.6)), mm_per_px=raster.mm_per_px, strength=0.7)
    shine = np.square(np.clip((lit - np.float32(1.05)) * np.float32(2.2), 0, 1))
    streak = step(smooth_noise(raster, grain_mm=(coarse / 3, coarse / 12), rng=rng), at=0.6, softness=1.2)
    glints = (shine * streak * np.float32(glint))[..., None]
    return np.asarray(np.clip(toned(raster, colour, lit) + glints, 0, 1), np.float32)


def black_film(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Black plastic film with bright glints."""
    return _wrinkled(raster, rng, vary("#17181a", rng), glint=rng.uniform(0.15, 0.7))


def white_film(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """White plastic film, softly shaded."""
    return _wrinkled(raster, rng, vary("#dcdcd9", rng, light=0.1), glint=rng.uniform(0, 0.2))


def clear_film(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Translucent film over something: hazy, with glints and wet patches."""
    below = _wrinkled(raster, rng, choose(("#8c8a84", "#5a4b3d", "#3b3c3e", "#a8a296"), rng), glint=0.3)
    haze = step(fractal_noise(raster, coarse_mm=90, fine_mm=4, rng=rng), at=0.0, softness=2.5)
    return blend(below, vary("#c6c9ca", rng, light=0.1), np.float32(0.2) + np.float32(0.4) * haze)


def coloured_film(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Tarpaulin or bag of any colour."""
    colour = choose(("#2e5f9a", "#4d7a4f", "#b03a30", "#d0ab3a", "#7a7f83", "#3f6f6a", "#6b6f3a", "#a9b7c0"), rng)
    return _wrinkled(raster, rng, colour, glint=rng.uniform(0.1, 0.4))


def woven_cloth(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Ground cloth: flat tapes woven over and under, with a coloured line now and then."""
    pitch = rng.uniform(1.8, 4.5)
    colour = choose(("#1d1e1f", "#1d1e1f", "#27332a", "#2f4433", "#3a3a38", "#d9d8d3", "#5f4d3a", "#30507a"), rng)
    wander = fractal_noise(raster, coarse_mm=120, fine_mm=15, rng=rng) * np.float32(1.5)
    angle = rng.uniform(0, np.pi)
    u, v = raster.along(angle) + wander, raster.along(angle + np.pi / 2) - wander
    a, b = u / np.float32(pitch), v / np.float32(pitch)
    over = (np.floor(a) + np.floor(b)) % 2 == 0
    across = np.where(over, np.mod(a, 1), np.mod(b, 1)) - np.float32(0.5)
    fade = np.float32(min(1.0, (raster.px(pitch) / 3)) ** 2)
    tape = 1 + fade * np.where(over, np.float32(0.18), np.float32(-0.12)) - fade * np.float32(2.2) * np.square(across)
    albedo = tint_by(
        flat(raster.shape, colour), tape * (1 + np.float32(0.12) * smooth_noise(raster, grain_mm=pitch / 2, rng=rng))
    )
    every = rng.uniform(60, 300)
    stripe = np.clip(
        np.float32(0.5)
        + (np.float32(pitch / 2) - np.abs(np.mod(u, np.float32(every)) - np.float32(every / 2)))
        / np.float32(raster.mm_per_px),
        0,
        1,
    )
    return blend(
        albedo,
        choose(("#5b8f5f", "#d8d6cf", "#b8443a", "#3f6fae", "#c9a93f"), rng),
        stripe * np.float32(rng.choice([0.0, 0.7])) * (tape > 0.9),
    )


def netting(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Shade net or plastic mesh lying on something."""
    pitch, share = rng.uniform(2.5, 20), rng.uniform(0.12, 0.35)
    below = [black_film, white_film, felt_mat, coloured_plastic][int(rng.integers(4))](raster, rng)
    wander = fractal_noise(raster, coarse_mm=80, fine_mm=8, rng=rng) * np.float32(0.15 * pitch)
    angle = rng.uniform(0, np.pi)
    fade = np.float32(min(1.0, raster.px(pitch * share)))
    lines = np.zeros(raster.shape, np.float32)
    for turn in (0.0, np.pi / 2):
        at = np.mod(raster.along(angle + turn) + wander, np.float32(pitch)) - np.float32(pitch / 2)
        lines = np.maximum(
            lines,
            np.clip(
                np.float32(0.5) + (np.float32(pitch * share / 2) - np.abs(at)) / np.float32(raster.mm_per_px), 0, 1
            ),
        )
    return blend(below, choose(("#161718", "#2c4a35", "#e5e4df", "#3f6fae", "#4a4b4c", "#6a7a45"), rng), lines * fade)


def felt_mat(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Capillary mat or felt: grey, white, blue, brown or green-tinted."""
    colour = choose(("#b9bab7", "#dad8d2", "#6f7478", "#5f7da0", "#7e9484", "#8b7f70", "#3e4143", "#94a8b5"), rng)
    body = paint_medium("felt", raster, rng).mean(axis=2)
    tone = body / np.float32(max(float(body.mean()), 0.01))
    blot = fractal_noise(raster, coarse_mm=140, fine_mm=6, rng=rng, gain=0.65)
    damp = step(blot, at=0.6, softness=1.0) * np.float32(rng.uniform(0, 0.4))
    return toned(raster, colour, tone * (1 - damp))


def coloured_plastic(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """A smooth board of any colour, dull greens, olives, teals and yellows among them."""
    if rng.random() < 0.5:
        colour = choose(
            ("#5f7a52", "#6b6f3c", "#3f7470", "#b7b04a", "#7c9a86", "#48603f", "#8aa05a", "#2f5d4c", "#c3c9a0"), rng
        )
    else:
        colour = hue_colour(rng.random(), rng.uniform(0.05, 0.8), rng.uniform(0.08, 0.7))
    cloud = fractal_noise(raster, coarse_mm=250, fine_mm=20, rng=rng)
    pimples = smooth_noise(raster, grain_mm=rng.uniform(0.5, 2), rng=rng) * np.float32(rng.uniform(0, 0.05))
    return toned(raster, colour, 1 + np.float32(0.05) * cloud + pimples)


def ribbed_plastic(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Corrugated or ribbed sheet; mats with studs."""
    pitch = rng.uniform(4, 60)
    colour = choose(("#d4d6d5", "#232425", "#7e8386", "#3a6ea5", "#55775c", "#b7b09a"), rng)
    angle = float(rng.choice([0.0, np.pi / 2, rng.uniform(0, np.pi)]))
    wave = np.sin(raster.along(angle) * np.float32(2 * np.pi / pitch))
    if rng.random() < 0.4:
        wave = wave * np.sin(raster.along(angle + np.pi / 2) * np.float32(2 * np.pi / pitch))
        wave = step(wave, at=0.4, softness=0.3)
    fade = np.float32(min(1.0, raster.px(pitch) / 4) ** 2)
    lit = shading(wave * np.float32(0.12 * pitch), mm_per_px=max(raster.mm_per_px, pitch / 40), strength=0.5)
    return tint_by(
        flat(raster.shape, colour),
        (1 + fade * (lit - 1)) * (1 + np.float32(0.04) * fractal_noise(raster, coarse_mm=90, fine_mm=2, rng=rng)),
    )


def cardboard(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Brown board with faint flutes and fibres."""
    colour = choose(("#b08d62", "#a27f55", "#c4a57c", "#8f7350"), rng, light=0.1)
    flutes = np.sin(raster.along(float(rng.choice([0, np.pi / 2]))) * np.float32(2 * np.pi / rng.uniform(4, 8)))
    tone = (
        1
        + np.float32(0.03) * flutes
        + np.float32(0.05) * fractal_noise(raster, coarse_mm=60, fine_mm=0.6, rng=rng, gain=0.75)
    )
    return toned(raster, colour, tone)


def paper_sheet(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Plain, creased or lined paper."""
    albedo = paint_medium("paper", raster, rng)
    if rng.random() < 0.3:
        pitch = rng.uniform(5, 10)
        at = np.abs(np.mod(raster.along(np.pi / 2), np.float32(pitch)) - np.float32(pitch / 2))
        line = np.clip(np.float32(0.5) + (np.float32(0.15) - at) / np.float32(raster.mm_per_px), 0, 1)
        albedo = blend(albedo, linear("#7f97b8"), line * np.float32(0.6))
    return albedo


def fabric(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Table cloth, fleece, burlap."""
    if rng.random() < 0.4:
        return paint_medium("jute", raster, rng)
    colour = hue_colour(rng.random(), rng.uniform(0, 0.5), rng.uniform(0.05, 0.7))
    k = np.float32(2 * np.pi / rng.uniform(0.8, 2.5))
    weave = np.sin(raster.along(0.0) * k) * np.sin(raster.along(np.pi / 2) * k)
    folds = fractal_noise(raster, coarse_mm=180, fine_mm=25, rng=rng, gain=0.5)
    lit = shading(folds * np.float32(6), mm_per_px=raster.mm_per_px, strength=0.5)
    return toned(raster, colour, lit * (1 + np.float32(0.08 * min(1.0, raster.px(0.5))) * weave))


def void(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Nothing but darkness, a little uneven."""
    glow = fractal_noise(raster, coarse_mm=400, fine_mm=80, rng=rng)
    return toned(raster, vary("#0d0d0f", rng, light=0.5), 1 + np.float32(0.2) * glow)


def plain_wall(raster: Raster, rng: np.random.Generator) -> FloatArray:
    """A matt painted surface with a broad shade across it."""
    colour = hue_colour(rng.random(), rng.uniform(0, 0.35), rng.uniform(0.1, 0.85))
    slope = raster.along(float(rng.uniform(0, 2 * np.pi)))
    span = max(float(np.ptp(slope)), 1e-6)
    shade = 1 + np.float32(rng.uniform(0, 0.5)) * ((slope - slope.min()) / np.float32(span) - np.float32(0.5))
    return tint_by(
        flat(raster.shape, colour), shade * (1 + np.float32(0.015) * smooth_noise(raster, grain_mm=1.0, rng=rng))
    )
