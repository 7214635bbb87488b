"""Growing media: what fills the cells of a tray, and what spills beside it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from canopy.synthetic.noise import LIGHT_FROM, FloatArray, Raster, fractal_noise, grains, shading, smooth_noise, step
from canopy.synthetic.pigments import blend, choose, flat, linear, ramp, tint_by, vary
from canopy.synthetic.stones import paint_stones

Painter = Callable[[Raster, np.random.Generator], FloatArray]


def _crumbly(raster: Raster, rng: np.random.Generator, colours: list[str], crumb_mm: float, *, relief: float) -> FloatArray:
    """Crumbs of many sizes: dark between, lighter on top."""
    coarse = grains(raster, size_mm=crumb_mm, rng=rng, order=0.2)
    mould = fractal_noise(raster, coarse_mm=12, fine_mm=0.4, rng=rng, gain=0.75)
    each = coarse.pick(rng.standard_normal(coarse.count).astype(np.float32)) * np.float32(coarse.fade)
    bump = np.sqrt(np.minimum(coarse.edge_px, raster.px(0.45 * crumb_mm))) * np.float32(raster.mm_per_px**0.5)
    height = np.float32(0.5 * coarse.fade) * bump + np.float32(0.30) * mould
    lit = shading(height, mm_per_px=max(raster.mm_per_px, 0.2), azimuth=LIGHT_FROM, strength=relief)
    tone = np.float32(0.45) + np.float32(0.14) * each + np.float32(0.16) * mould
    gaps = 1 - np.float32(0.55 * coarse.fade) * step(-bump, at=-0.25, softness=0.4)
    return tint_by(ramp(tone, [vary(c, rng, light=0.12, tint=0.03) for c in colours]), lit * gaps)


def _flecks(
    albedo: FloatArray, raster: Raster, rng: np.random.Generator, *, colours: tuple[str, ...], size_mm: float, share: float
) -> FloatArray:
    """Strew round grains of another stuff over a surface; `share` is the part of it they cover."""
    bits = grains(raster, size_mm=size_mm, rng=rng, order=0.2)
    chosen = rng.random(bits.count) < share * 2
    radius = rng.uniform(0.25, 0.5, bits.count).astype(np.float32) * np.float32(raster.px(size_mm) * 0.5)
    inner = bits.edge_px - bits.core_px + bits.pick(radius)
    weight = np.clip(inner, 0, 1) * bits.pick(chosen.astype(np.float32)) * np.float32(max(bits.fade, 0.25))
    palette = np.stack([choose(colours, rng, light=0.15, tint=0.04) for _ in range(12)])
    own = palette[bits.label % 12]
    dome = np.clip(np.float32(0.72) + np.float32(0.28) * inner / np.float32(raster.px(size_mm) * 0.25 + 1), 0, 1)
    return blend(tint_by(albedo, 1 - np.float32(0.35) * np.clip(inner + 1.5, 0, 1) * weight), tint_by(own, dome), weight)


def _fibres(albedo: FloatArray, raster: Raster, rng: np.random.Generator, *, colours: list[str], contrast: float) -> FloatArray:
    """Fine fibres lying all ways: thresholded streaks in a few directions."""
    weight = np.zeros(raster.shape, np.float32)
    for long_mm, thin_mm in ((5.0, 0.25), (0.25, 5.0), (2.5, 0.5), (0.5, 2.5)):
        weight += step(smooth_noise(raster, grain_mm=(long_mm, thin_mm), rng=rng), at=1.1, softness=0.9)
    tone = fractal_noise(raster, coarse_mm=3, fine_mm=0.3, rng=rng) * np.float32(0.2) + np.float32(0.5)
    return blend(albedo, ramp(tone, [linear(c) for c in colours]), np.float32(contrast) * np.clip(weight, 0, 1))


def _peat(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ["#130d0a", "#2e2019", "#4d382a"], rng.uniform(1.5, 4), relief=0.55)
    return _fibres(base, raster, rng, colours=["#3b2a1e", "#6e563e"], contrast=rng.uniform(0.1, 0.5))


def _perlite_mix(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _peat(raster, rng)
    for size in (rng.uniform(2.5, 5), rng.uniform(1.2, 2.5)):
        base = _flecks(base, raster, rng, colours=("#d9d6cf", "#c4beb2", "#e8e6e2"), size_mm=size, share=rng.uniform(0.03, 0.16))
    return base


def _coir(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ["#2a1a10", "#5a3d26", "#8d6a48"], rng.uniform(1.2, 3), relief=0.5)
    return _fibres(base, raster, rng, colours=["#7a5836", "#b08d62"], contrast=rng.uniform(0.4, 0.9))


def _vermiculite(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ["#4a3c2a", "#94794f", "#c7ad78"], rng.uniform(1.5, 3.5), relief=0.7)
    return _flecks(base, raster, rng, colours=("#d8c390", "#a08050", "#e6dab4"), size_mm=2.5, share=0.15)


def _black_soil(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ["#0b0a09", "#1f1b18", "#3a332d"], rng.uniform(1.5, 4), relief=0.6)
    return _flecks(base, raster, rng, colours=("#6b665f", "#8f8a80", "#4b4640"), size_mm=rng.uniform(1.5, 4), share=rng.uniform(0.01, 0.08))


def _red_brown_soil(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ["#2a1a15", "#553a30", "#7d5b4c"], rng.uniform(1.2, 3.5), relief=0.55)
    return _flecks(base, raster, rng, colours=("#8d7466", "#a39286", "#5d4a40"), size_mm=rng.uniform(1.5, 4), share=rng.uniform(0.03, 0.12))


def _pale_loam(raster: Raster, rng: np.random.Generator) -> FloatArray:
    return _crumbly(raster, rng, ["#4d4034", "#8a7762", "#b9a78f"], rng.uniform(1.5, 5), relief=0.6)


def _sand(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colours = [["#8d7a5c", "#bda884", "#d9caa9"], ["#6f6a63", "#9a948b", "#bfbab2"]][int(rng.integers(2))]
    tone = fractal_noise(raster, coarse_mm=30, fine_mm=0.4, rng=rng, gain=0.8)
    fine = smooth_noise(raster, grain_mm=0.6, rng=rng)
    return ramp(np.float32(0.5) + np.float32(0.1) * tone + np.float32(0.13) * fine, [vary(c, rng, light=0.1) for c in colours])


def _black_gravel(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ["#0c0c0c", "#2b2a29", "#565452"], rng.uniform(3, 7), relief=0.8)
    return _flecks(base, raster, rng, colours=("#77736d", "#3b3937", "#a09c95"), size_mm=rng.uniform(3, 6), share=0.08)


def _rockwool(raster: Raster, rng: np.random.Generator) -> FloatArray:
    tone = fractal_noise(raster, coarse_mm=15, fine_mm=0.5, rng=rng, gain=0.7)
    colours = [["#8f8a6e", "#b3ad8d", "#cfc9ad"], ["#9b9484", "#bdb7a8", "#d8d4c9"], ["#7c7a62", "#9a9878", "#b7b596"]]
    base = ramp(np.float32(0.5) + np.float32(0.13) * tone, [linear(c) for c in colours[int(rng.integers(3))]])
    return _fibres(base, raster, rng, colours=["#6f6b55", "#dedac6"], contrast=rng.uniform(0.2, 0.6))


def _foam(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colour = choose(("#c9c4b4", "#e2dfd6", "#4b4a49", "#b39a6b", "#7d7c78"), rng)
    pores = grains(raster, size_mm=rng.uniform(0.6, 1.6), rng=rng, order=0.4)
    dark = step(pores.core_px - pores.edge_px, at=-0.2, softness=1.5)
    tone = 1 + np.float32(0.06) * fractal_noise(raster, coarse_mm=10, fine_mm=1, rng=rng)
    return tint_by(flat(raster.shape, colour), tone * (1 - np.float32(0.30 * pores.fade) * (1 - dark)))


def _felt(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colour = choose(("#d5d2c9", "#8b8b88", "#4d5052", "#b9b39a", "#a4acb4", "#77706a"), rng)
    base = tint_by(flat(raster.shape, colour), 1 + np.float32(0.10) * fractal_noise(raster, coarse_mm=12, fine_mm=0.4, rng=rng, gain=0.8))
    return _fibres(base, raster, rng, colours=["#5a5a58", "#e6e4dc"], contrast=rng.uniform(0.1, 0.4))


def _paper(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colour = choose(("#e9e6dd", "#d8cfb8", "#f2f1ee", "#bda57e"), rng, light=0.08)
    wave = fractal_noise(raster, coarse_mm=35, fine_mm=4, rng=rng, gain=0.5)
    lit = shading(wave * np.float32(0.5), mm_per_px=raster.mm_per_px, azimuth=LIGHT_FROM, strength=0.6)
    return tint_by(flat(raster.shape, colour), lit * (1 + np.float32(0.015) * smooth_noise(raster, grain_mm=0.4, rng=rng)))


def _jute(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colour = choose(("#a98d63", "#8c7350", "#c2ab83"), rng)
    pitch = rng.uniform(1.5, 4)
    wander = fractal_noise(raster, coarse_mm=30, fine_mm=4, rng=rng) * np.float32(0.6)
    x, y = raster.axes_mm()
    k = np.float32(2 * np.pi / pitch)
    fade = np.float32(min(1.0, raster.px(pitch) / 3) ** 2)
    weave = np.maximum(np.sin(k * (x + wander)), np.sin(k * (y + wander)))
    tone = 1 + fade * np.float32(0.35) * (weave - np.float32(0.4))
    return _fibres(tint_by(flat(raster.shape, colour), tone), raster, rng, colours=["#6b5535", "#d6c29c"], contrast=0.5)


def _clay_pebbles(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colours = ("#8a4a2e", "#a35d3c", "#70402c", "#b5764f")
    return paint_stones(raster, rng, size_mm=rng.uniform(7, 14), colours=colours, order=0.8, roundness=0.9)


def _hemp(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = flat(raster.shape, choose(("#9d8a68", "#b7a684", "#83714f"), rng))
    base = tint_by(base, 1 + np.float32(0.12) * fractal_noise(raster, coarse_mm=10, fine_mm=0.6, rng=rng, gain=0.8))
    return _fibres(base, raster, rng, colours=["#5d4d33", "#d9ccb0"], contrast=0.85)


_PAINTERS: dict[str, Painter] = {
    "peat": _peat, "perlite_mix": _perlite_mix, "coir": _coir, "vermiculite": _vermiculite, "rockwool": _rockwool,
    "foam": _foam, "black_soil": _black_soil, "red_brown_soil": _red_brown_soil, "pale_loam": _pale_loam, "sand": _sand,
    "black_gravel": _black_gravel, "felt": _felt, "paper": _paper, "jute": _jute, "hemp": _hemp,
    "clay_pebbles": _clay_pebbles,
}  # fmt: skip
MEDIA: tuple[str, ...] = tuple(_PAINTERS)


def paint_medium(kind: str, raster: Raster, rng: np.random.Generator) -> FloatArray:
    """Paint a sheet of growing medium, dry and bare.

    Parameters
    ----------
    kind : str
        One of `MEDIA`.
    raster : Raster
    rng : numpy.random.Generator

    Returns
    -------
    (H, W, 3) float32 array
        Linear-light reflectance, sRGB primaries, 0..1.
    """
    if kind not in _PAINTERS:
        raise ValueError(f"medium {kind!r} is unknown; choose one of {', '.join(MEDIA)}")
    return np.clip(_PAINTERS[kind](raster, rng), 0, 1)
