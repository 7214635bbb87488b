"""Long thin things that cross the picture: cables, hoses, string."""

from __future__ import annotations

import numpy as np

from canopy.synthetic.noise import FloatArray, Raster
from canopy.synthetic.pigments import choose, tint_by, toned
from canopy.synthetic.shapes import Stamp, lay, thread

# Radius range in mm and colours.
_LOOKS: dict[str, tuple[tuple[float, float], tuple[str, ...]]] = {
    "cables": ((1.2, 5.0), ("#161617", "#161617", "#e2e2df", "#8a8c8e", "#c23a2d", "#2b61aa", "#d8b02e", "#3f7f45")),
    "hoses": ((4.0, 12.0), ("#1b1b1c", "#3e7b3c", "#5d8f3f", "#c9cfce", "#2d6fa5", "#7a4a2f", "#2f5a38")),
    "twine": ((0.5, 1.5), ("#b59b6a", "#d8c9a4", "#3f7c4a", "#8a6f48")),
    "string": ((0.2, 0.7), ("#e8e6e0", "#c9c2b0", "#2a2a2a", "#c84238", "#3a74b8", "#4f9a4f")),
}
CORDS: tuple[str, ...] = tuple(_LOOKS)


def draw_cord(canvas: FloatArray, kind: str, raster: Raster, rng: np.random.Generator) -> None:
    """Lay one cord across or into the picture in place, with its shadow."""
    stamp = cord(kind, raster, rng)
    away = max(0.5, raster.px(stamp.height_mm) * 0.35)
    centre = (raster.height_px - 1) / 2, (raster.width_px - 1) / 2
    lay(canvas, stamp, row=centre[0], col=centre[1], shadow_px=(away, 0.8 * away))


def cord(kind: str, raster: Raster, rng: np.random.Generator) -> Stamp:
    """One cord as a stamp of the picture's own size."""
    (thin, thick), colours = _LOOKS[kind]
    radius = rng.uniform(thin, thick)
    points = _course(raster, rng, slack=0.12 if kind in ("cables", "hoses") else 0.25)
    alpha, profile, side = thread(points, radius_px=raster.px(radius), shape=raster.shape)
    lit = (1 - np.float32(0.35) * np.square(profile)) * (1 + np.float32(0.35) * side)
    shine = np.float32(0.25) * np.clip(1 - np.abs(profile - np.float32(0.35)) * 6, 0, 1) * (side > 0)
    albedo = toned(raster, choose(colours, rng), lit)
    if kind == "twine":
        albedo = tint_by(
            albedo, 1 + np.float32(0.25) * np.sin(raster.along(0.8) * np.float32(2 * np.pi / (2.2 * radius)))
        )
    else:
        albedo = np.clip(albedo + shine[..., None], 0, 1)
    return Stamp(albedo, alpha, height_mm=2 * radius)


def _course(raster: Raster, rng: np.random.Generator, *, slack: float) -> FloatArray:
    """Points (x, y) of a slack line that enters at one edge of the picture."""
    size = np.array([raster.width_px, raster.height_px], np.float64)
    angle = rng.uniform(0, 2 * np.pi)
    middle = size * rng.uniform(0.1, 0.9, 2)
    reach = np.hypot(*size) * 0.6
    way = np.array([np.cos(angle), np.sin(angle)])
    t = np.linspace(-1, rng.uniform(0.1, 1), 160)
    sway = sum(
        slack * reach / k * rng.standard_normal() * np.sin(np.pi * k * t + rng.uniform(0, 6)) for k in (1, 2, 3, 4)
    )
    across = np.array([-way[1], way[0]])
    points = middle + reach * t[:, None] * way + np.asarray(sway)[:, None] * across
    return np.asarray(points.astype(np.float32), np.float32)
