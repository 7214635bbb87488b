"""Growing media: what fills the cells of a tray, and what spills beside it."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from canopy.synthetic.noise import (
    FloatArray,
    Raster,
    blur,
    fractal_noise,
    grains,
    shading,
    smooth_noise,
    step,
)
from canopy.synthetic.pigments import blend, choose, flat, linear, ramp, tint_by, toned, vary
from canopy.synthetic.piles import fibres, pile
from canopy.synthetic.stones import paint_stones

Painter = Callable[[Raster, np.random.Generator], FloatArray]


def _crumbly(
    raster: Raster, rng: np.random.Generator, colours: tuple[str, ...], crumb_mm: float, *, relief: float
) -> FloatArray:
    """Crumbs of many sizes heaped up: dark pits between, lighter on top."""
    mould = fractal_noise(raster, coarse_mm=14, fine_mm=0.35, rng=rng, gain=0.72)
    lumps = pile(raster, size_mm=crumb_mm, rng=rng, spread=0.6, roughness=0.25, corners=10, layers=1.4)
    fade = np.float32(lumps.fade)
    each = lumps.pick(rng.standard_normal(lumps.count).astype(np.float32)) * fade * (1 - lumps.bare)
    height = lumps.dome * np.float32(0.3 * crumb_mm * lumps.fade) + np.float32(0.45) * mould
    lit = shading(height, mm_per_px=max(raster.mm_per_px, 0.2), strength=relief)
    rim = 1 - np.float32(0.4) * fade * np.clip(1 - lumps.edge_px / np.float32(max(1.0, raster.px(0.25))), 0, 1)
    tone = np.float32(0.40) + np.float32(0.12) * each + np.float32(0.19) * mould + np.float32(0.05) * lumps.dome
    return tint_by(ramp(tone, [vary(c, rng, light=0.12, tint=0.03) for c in colours]), lit * rim)


def _flecks(
    albedo: FloatArray,
    raster: Raster,
    rng: np.random.Generator,
    *,
    colours: tuple[str, ...],
    size_mm: float,
    share: float,
) -> FloatArray:
    """Strew rounded grains of another stuff over a surface; `share` is about the part of it they cover."""
    bits = pile(raster, size_mm=size_mm, rng=rng, spread=0.3, roughness=0.22, corners=10, layers=share)
    palette = np.stack([choose(colours, rng, light=0.15, tint=0.03) for _ in range(16)])
    there = (1 - bits.bare) * np.float32(max(bits.fade, 0.3))
    soft = blur(there, radius_px=0.5)
    lit = shading(bits.dome * np.float32(0.3 * size_mm), mm_per_px=raster.mm_per_px, strength=0.3)
    own = tint_by(palette[bits.label % 16], lit * (np.float32(0.75) + np.float32(0.25) * bits.dome))
    shade = blur(there, radius_px=max(0.6, raster.px(0.25 * size_mm)))
    return blend(tint_by(albedo, 1 - np.float32(0.4) * shade), own, soft)


def _fibres(
    albedo: FloatArray,
    raster: Raster,
    rng: np.random.Generator,
    *,
    colours: tuple[str, ...],
    per_cm2: float,
    long_mm: float,
    weight: float,
) -> FloatArray:
    inks = [vary(c, rng, light=0.15, tint=0.03) for c in colours]
    return fibres(
        albedo,
        raster,
        rng,
        colours=inks,
        per_cm2=per_cm2,
        long_mm=long_mm,
        wide_mm=rng.uniform(0.1, 0.3),
        weight=weight,
    )


def _peat(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ("#130d0a", "#2e2019", "#4d382a"), rng.uniform(1.5, 4), relief=0.55)
    return _fibres(
        base,
        raster,
        rng,
        colours=("#3b2a1e", "#6e563e", "#2a1c14"),
        per_cm2=rng.uniform(2, 20),
        long_mm=rng.uniform(2, 7),
        weight=rng.uniform(0.2, 0.7),
    )


def _perlite_mix(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _peat(raster, rng)
    for size in (rng.uniform(2, 4), rng.uniform(1, 2)):
        base = _flecks(
            base, raster, rng, colours=("#d9d6cf", "#c4beb2", "#e8e6e2"), size_mm=size, share=rng.uniform(0.02, 0.12)
        )
    return base


def _coir(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ("#2a1a10", "#5a3d26", "#8d6a48"), rng.uniform(1.2, 3), relief=0.5)
    return _fibres(
        base,
        raster,
        rng,
        colours=("#7a5836", "#b08d62", "#4a3220"),
        per_cm2=rng.uniform(20, 60),
        long_mm=rng.uniform(5, 14),
        weight=0.6,
    )


def _vermiculite(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ("#4a3c2a", "#94794f", "#c7ad78"), rng.uniform(1.5, 3.5), relief=0.7)
    return _flecks(base, raster, rng, colours=("#d8c390", "#a08050", "#e6dab4"), size_mm=2.5, share=0.15)


def _black_soil(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ("#0b0a09", "#1f1b18", "#3a332d"), rng.uniform(1.5, 4), relief=0.6)
    return _flecks(
        base,
        raster,
        rng,
        colours=("#6b665f", "#8f8a80", "#4b4640"),
        size_mm=rng.uniform(1.5, 4),
        share=rng.uniform(0.01, 0.08),
    )


def _red_brown_soil(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ("#2a1a15", "#553a30", "#7d5b4c"), rng.uniform(1.2, 3.5), relief=0.55)
    return _flecks(
        base,
        raster,
        rng,
        colours=("#8d7466", "#a39286", "#5d4a40"),
        size_mm=rng.uniform(1.5, 4),
        share=rng.uniform(0.03, 0.12),
    )


def _pale_loam(raster: Raster, rng: np.random.Generator) -> FloatArray:
    return _crumbly(raster, rng, ("#4d4034", "#8a7762", "#b9a78f"), rng.uniform(1.5, 5), relief=0.6)


def _sand(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colours = [["#8d7a5c", "#bda884", "#d9caa9"], ["#6f6a63", "#9a948b", "#bfbab2"]][int(rng.integers(2))]
    tone = fractal_noise(raster, coarse_mm=30, fine_mm=0.4, rng=rng, gain=0.8)
    fine = smooth_noise(raster, grain_mm=0.6, rng=rng)
    return ramp(
        np.float32(0.5) + np.float32(0.1) * tone + np.float32(0.13) * fine, [vary(c, rng, light=0.1) for c in colours]
    )


def _black_gravel(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = _crumbly(raster, rng, ("#0c0c0c", "#2b2a29", "#565452"), rng.uniform(3, 7), relief=0.8)
    return _flecks(base, raster, rng, colours=("#77736d", "#3b3937", "#a09c95"), size_mm=rng.uniform(3, 6), share=0.08)


def _rockwool(raster: Raster, rng: np.random.Generator) -> FloatArray:
    tone = fractal_noise(raster, coarse_mm=15, fine_mm=0.5, rng=rng, gain=0.7)
    colours = [["#8f8a6e", "#b3ad8d", "#cfc9ad"], ["#9b9484", "#bdb7a8", "#d8d4c9"], ["#7c7a62", "#9a9878", "#b7b596"]]
    base = ramp(np.float32(0.5) + np.float32(0.13) * tone, [linear(c) for c in colours[int(rng.integers(3))]])
    return _fibres(
        base,
        raster,
        rng,
        colours=("#7f7b65", "#dedac6"),
        per_cm2=rng.uniform(40, 120),
        long_mm=rng.uniform(3, 8),
        weight=rng.uniform(0.08, 0.35),
    )


def _foam(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colour = choose(("#c9c4b4", "#e2dfd6", "#4b4a49", "#b39a6b", "#7d7c78"), rng)
    pores = grains(raster, size_mm=rng.uniform(0.6, 1.6), rng=rng, order=0.4)
    dark = step(pores.core_px - pores.edge_px, at=-0.2, softness=1.5)
    tone = 1 + np.float32(0.06) * fractal_noise(raster, coarse_mm=10, fine_mm=1, rng=rng)
    return toned(raster, colour, tone * (1 - np.float32(0.30 * pores.fade) * (1 - dark)))


def _felt(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colour = choose(("#d5d2c9", "#8b8b88", "#4d5052", "#b9b39a", "#a4acb4", "#77706a"), rng)
    base = tint_by(
        flat(raster.shape, colour),
        1 + np.float32(0.10) * fractal_noise(raster, coarse_mm=12, fine_mm=0.4, rng=rng, gain=0.8),
    )
    return _fibres(
        base,
        raster,
        rng,
        colours=("#6a6a68", "#e6e4dc"),
        per_cm2=rng.uniform(40, 160),
        long_mm=rng.uniform(4, 12),
        weight=rng.uniform(0.06, 0.3),
    )


def _paper(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colour = choose(("#e9e6dd", "#d8cfb8", "#f2f1ee", "#bda57e"), rng, light=0.08)
    wave = fractal_noise(raster, coarse_mm=35, fine_mm=4, rng=rng, gain=0.5)
    lit = shading(wave * np.float32(0.5), mm_per_px=raster.mm_per_px, strength=0.6)
    return tint_by(
        flat(raster.shape, colour), lit * (1 + np.float32(0.015) * smooth_noise(raster, grain_mm=0.4, rng=rng))
    )


def _jute(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colour = choose(("#a98d63", "#8c7350", "#c2ab83"), rng)
    pitch = rng.uniform(1.5, 4)
    wander = fractal_noise(raster, coarse_mm=30, fine_mm=4, rng=rng) * np.float32(0.6)
    x, y = raster.axes_mm()
    k = np.float32(2 * np.pi / pitch)
    fade = np.float32(min(1.0, raster.px(pitch) / 3) ** 2)
    weave = np.maximum(np.sin(k * (x + wander)), np.sin(k * (y + wander)))
    tone = 1 + fade * np.float32(0.35) * (weave - np.float32(0.4))
    return _fibres(
        toned(raster, colour, tone),
        raster,
        rng,
        colours=("#6b5535", "#d6c29c"),
        per_cm2=25,
        long_mm=5,
        weight=0.3,
    )


def _clay_pebbles(raster: Raster, rng: np.random.Generator) -> FloatArray:
    colours = ("#8a4a2e", "#a35d3c", "#70402c", "#b5764f")
    return paint_stones(raster, rng, size_mm=rng.uniform(7, 14), colours=colours, spread=0.2, roundness=0.95)


def _hemp(raster: Raster, rng: np.random.Generator) -> FloatArray:
    base = flat(raster.shape, choose(("#9d8a68", "#b7a684", "#83714f"), rng))
    base = tint_by(base, 1 + np.float32(0.12) * fractal_noise(raster, coarse_mm=10, fine_mm=0.6, rng=rng, gain=0.8))
    return _fibres(base, raster, rng, colours=("#5d4d33", "#d9ccb0", "#8a7753"), per_cm2=90, long_mm=12, weight=0.5)


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


def paint_medium_sheet(kind: str, raster: Raster, rng: np.random.Generator, *, tile_px: int) -> FloatArray:
    """Paint a medium over a raster of any size: one tile of at most `tile_px` squared, mirrored beyond it.

    Fine grains cost most of the time of a large picture, and between plants and walls the eye never sees two tiles
    whole: 12 megapixels take a third of the time.
    """
    rows, columns = (min(side, tile_px) for side in raster.shape)
    tile = paint_medium(kind, Raster(rows, columns, raster.mm_per_px), rng)
    below, right = raster.height_px - rows, raster.width_px - columns
    return np.asarray(cv2.copyMakeBorder(tile, 0, below, 0, right, cv2.BORDER_REFLECT), np.float32)
