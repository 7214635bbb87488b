"""Loose bits lying over each other: stones, flakes, crumbs, fibres."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.synthetic.noise import FloatArray, Grains, IntArray, Raster, borders_px, grains
from canopy.synthetic.pigments import blend

_SMALLEST_PX = 4.0  # bits below this size are drawn as Voronoi cells: their outline cannot be seen
_MOST_BITS = 60_000
_MOST_FIBRES = 40_000


@dataclass(frozen=True)
class Pile(Grains):
    """Bits with their own outlines, drawn one over the other; label 0 is what lies bare between them.

    Attributes
    ----------
    dome : (H, W) float32 array
        0 at the rim .. 1 in the middle of each bit, as on a half ball.
    """

    dome: FloatArray

    @property
    def bare(self) -> FloatArray:
        """1 where no bit lies."""
        return np.asarray((self.label == 0).astype(np.float32), np.float32)


def pile(
    raster: Raster,
    *,
    size_mm: float,
    rng: np.random.Generator,
    spread: float = 0.35,
    aspect: float = 1.3,
    roughness: float = 0.12,
    corners: int = 14,
    layers: float = 2.0,
) -> Pile:
    """Strew bits until they cover the raster about `layers` times over.

    Parameters
    ----------
    raster : Raster
    size_mm : float
        Typical width.
    rng : numpy.random.Generator
    spread : float
        Sigma of the logarithm of the sizes.
    aspect : float
        Length over width.
    roughness : float
        0 ovals .. 0.4 shards.
    corners : int
        Points per outline; 4–6 give angular bits.
    layers : float
        Total area of the bits over the area of the raster.

    Returns
    -------
    Pile
    """
    if raster.px(size_mm) < _SMALLEST_PX:
        return _as_cells(raster, size_mm, rng, layers)
    room = raster.area_mm2 * (1 + 4 * size_mm * aspect / (raster.mm_per_px * min(raster.shape) + 1e-9))
    count = int(min(_MOST_BITS, max(4.0, layers * room / (0.785 * size_mm**2 * aspect))))
    width = raster.px(size_mm) / 2 * np.exp(spread * rng.standard_normal(count)).clip(0.3, 3)
    reach = raster.px(size_mm) * aspect
    middle = rng.uniform(-reach, np.array(raster.shape[::-1]) + reach, (count, 2))
    turn = rng.uniform(0, np.pi, count)
    long = width * aspect * np.exp(0.2 * rng.standard_normal(count))
    outlines = _outlines(middle, long, width, turn, rng, roughness=roughness, corners=corners)
    label = np.zeros(raster.shape, np.int32)
    for number, outline in enumerate(outlines, start=1):
        cv2.fillPoly(label, [outline], number, shift=4)
    dome = _dome(label, middle, long, width, turn)
    return Pile(label, borders_px(label), count, 1.0, dome)


def _as_cells(raster: Raster, size_mm: float, rng: np.random.Generator, layers: float) -> Pile:
    cells = grains(raster, size_mm=size_mm, rng=rng, order=0.2)
    kept = np.append(0, rng.random(cells.count) < min(1.0, 0.6 * layers)).astype(np.int32)
    label = cells.label * kept[cells.label]
    dome = np.minimum(cells.edge_px / np.float32(max(1.0, raster.px(size_mm) / 2)), 1)
    return Pile(label, cells.edge_px, cells.count, cells.fade, dome)


def _outlines(
    middle: NDArray[np.float64],
    long: NDArray[np.float64],
    width: NDArray[np.float64],
    turn: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    roughness: float,
    corners: int,
) -> IntArray:
    """(count, corners, 2) outlines in 1/16 pixels."""
    count = len(turn)
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False) + rng.uniform(-0.8, 0.8, (count, corners)) / corners
    radius = 1 + roughness * rng.standard_normal((count, corners))
    if corners > 8:  # neighbouring corners of a rounded bit go in and out together
        radius = (radius + np.roll(radius, 1, axis=1) + np.roll(radius, -1, axis=1)) / 3
    u, v = radius * np.cos(angle) * long[:, None], radius * np.sin(angle) * width[:, None]
    c, s = np.cos(turn)[:, None], np.sin(turn)[:, None]
    points = np.stack([middle[:, :1] + c * u - s * v, middle[:, 1:] + s * u + c * v], axis=2)
    return np.round(points * 16).astype(np.int32)


def _dome(
    label: IntArray,
    middle: NDArray[np.float64],
    long: NDArray[np.float64],
    width: NDArray[np.float64],
    turn: NDArray[np.float64],
) -> FloatArray:
    def at(values: NDArray[np.float64]) -> FloatArray:
        return np.append(0, values).astype(np.float32)[label]

    x = np.arange(label.shape[1], dtype=np.float32)[None] - at(middle[:, 0])
    y = np.arange(label.shape[0], dtype=np.float32)[:, None] - at(middle[:, 1])
    c, s = np.cos(turn), np.sin(turn)
    u = x * at(c / long) + y * at(s / long)
    v = y * at(c / width) - x * at(s / width)
    height: FloatArray = np.sqrt(np.clip(np.float32(1.05) - np.float32(0.9) * (u * u + v * v), 0, 1))
    return height * (label > 0)


def fibres(
    albedo: FloatArray,
    raster: Raster,
    rng: np.random.Generator,
    *,
    colours: list[FloatArray],
    per_cm2: float,
    long_mm: float,
    wide_mm: float = 0.15,
    weight: float = 1.0,
) -> FloatArray:
    """Draw fine curved fibres lying all ways; `colours` gives one layer of them each, `weight` 0..1 how dense they are.

    Fibres thinner than a pixel are drawn one pixel wide and as much fainter.
    """
    count = int(min(_MOST_FIBRES, per_cm2 * raster.area_mm2 / 100) / len(colours))
    wide_px, long_px = raster.px(wide_mm), raster.px(long_mm)
    strength = np.float32(weight * min(1.0, wide_px))
    for colour in colours:
        canvas = np.zeros(raster.shape, np.uint8)
        start = rng.uniform(-long_px, np.array(raster.shape[::-1]) + long_px, (count, 1, 2))
        heading = rng.uniform(0, 2 * np.pi, (count, 1)) + np.cumsum(rng.normal(0, 0.35, (count, 4)), axis=1)
        stride = (long_px / 4 * np.exp(0.5 * rng.standard_normal((count, 1))))[..., None]
        steps = stride * np.stack([np.cos(heading), np.sin(heading)], axis=2)
        points = np.round(np.concatenate([start, start + np.cumsum(steps, axis=1)], axis=1) * 16).astype(np.int32)
        cv2.polylines(canvas, list(points), False, 255, max(1, round(wide_px)), cv2.LINE_AA, 4)
        albedo = blend(albedo, colour, canvas.astype(np.float32) * (strength / np.float32(255)))
    return albedo
