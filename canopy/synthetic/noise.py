"""Texture noise on rasters measured in millimetres: what every painted surface of a scene is made of."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import ceil, cos, sin, sqrt

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float32]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int32]

# Mean sum of squared interpolation weights per axis: linear exactly 2/3, cubic (OpenCV's a = -0.75) by quadrature.
LINEAR_VARIANCE = 2 / 3
CUBIC_VARIANCE = 0.842
LIGHT_FROM = -2.2  # radians from +x towards +y: reliefs of one scene are all lit from the upper left


@dataclass(frozen=True)
class Raster:
    """A grid of square pixels laid on a plane; pixel [i, j] has its centre at (j, i) × `mm_per_px`.

    Attributes
    ----------
    height_px, width_px : int
        Number of rows and columns.
    mm_per_px : float
        Side of one pixel, mm.
    """

    height_px: int
    width_px: int
    mm_per_px: float

    def __post_init__(self) -> None:  # noqa: D105
        if self.height_px < 1 or self.width_px < 1 or not self.mm_per_px > 0:
            raise ValueError(
                f"raster {self.height_px} x {self.width_px} px at {self.mm_per_px} mm/px: "
                "give at least one pixel and a scale above 0"
            )

    @classmethod
    def of(cls, picture: FloatArray, *, mm_per_px: float) -> Raster:
        """The raster of a (H, W) or (H, W, 3) picture."""
        return cls(picture.shape[0], picture.shape[1], mm_per_px)

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns)."""
        return self.height_px, self.width_px

    @property
    def area_mm2(self) -> float:
        """Area of the whole raster, mm²."""
        return self.height_px * self.width_px * self.mm_per_px**2

    def px(self, mm: float) -> float:
        """Length in pixels of a length in mm."""
        return mm / self.mm_per_px

    def axes_mm(self) -> tuple[FloatArray, FloatArray]:
        """x as a (1, W) row and y as a (H, 1) column, mm from the centre of pixel [0, 0]."""
        x = np.arange(self.width_px, dtype=np.float32)[None] * np.float32(self.mm_per_px)
        y = np.arange(self.height_px, dtype=np.float32)[:, None] * np.float32(self.mm_per_px)
        return x, y

    def along(self, angle: float) -> FloatArray:
        """(H, W) coordinate along a direction, mm; `angle` in radians from +x towards +y."""
        x, y = self.axes_mm()
        return np.float32(cos(angle)) * x + np.float32(sin(angle)) * y


@dataclass(frozen=True)
class Grains:
    """Voronoi cells of scattered seeds: stones, crystals, crumbs.

    Attributes
    ----------
    label : (H, W) int32 array, 1..count
    edge_px : (H, W) float32 array
        Distance of each pixel to the border of its grain, px.
    count : int
    fade : float
        0..1, how much of the grains' contrast survives at this scale (1 unless grains are near the size of a pixel).
    """

    label: IntArray
    edge_px: FloatArray
    count: int
    fade: float

    def pick(self, values: NDArray[np.float32]) -> FloatArray:
        """Spread one value per grain over its pixels: `values` has `count` entries."""
        return np.concatenate([values[:1], values]).astype(np.float32)[self.label]

    @cached_property
    def core_px(self) -> FloatArray:
        """(H, W) inner radius of the grain that a pixel belongs to, px."""
        top = np.zeros(self.count + 1, np.float32)
        np.maximum.at(top, self.label.ravel()[::7], self.edge_px.ravel()[::7])
        return np.maximum(top, 1)[self.label]


def smooth_noise(
    raster: Raster, *, grain_mm: float | tuple[float, float], rng: np.random.Generator, cubic: bool = True
) -> FloatArray:
    """Band-limited noise with mean 0.

    Parameters
    ----------
    raster : Raster
    grain_mm : float or (float, float)
        Distance of independent values, mm, or one along x and one along y (streaks).
    rng : numpy.random.Generator
    cubic : bool
        Cubic interpolation (rounded blobs) or linear.

    Returns
    -------
    (H, W) float32 array
        Standard deviation 1 where grains are resolved; below one pixel per grain it falls as the mean of the grains
        in a pixel does, so that a texture fades when it is seen from afar.
    """
    grain_x, grain_y = grain_mm if isinstance(grain_mm, tuple) else (grain_mm, grain_mm)
    columns, gain_x = _grid(raster.width_px, raster.px(grain_x))
    rows, gain_y = _grid(raster.height_px, raster.px(grain_y))
    grid = rng.standard_normal((rows, columns), dtype=np.float32)
    variance = CUBIC_VARIANCE if cubic else LINEAR_VARIANCE
    for samples, pixels in ((columns, raster.width_px), (rows, raster.height_px)):
        gain_x /= sqrt(variance) if samples < pixels else 1.0
    return _enlarge(grid, raster, cubic=cubic) * np.float32(gain_x * gain_y)


def _grid(pixels: int, grain_px: float) -> tuple[int, float]:
    """Number of samples along an axis and the gain for grains smaller than a pixel."""
    if grain_px <= 1:
        return pixels, sqrt(grain_px)
    return max(2, ceil(pixels / grain_px)), 1.0


def _enlarge(grid: FloatArray, raster: Raster, *, cubic: bool) -> FloatArray:
    if grid.shape == raster.shape:
        return grid
    method = cv2.INTER_CUBIC if cubic else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(grid, (raster.width_px, raster.height_px), interpolation=method), np.float32)


def fractal_noise(
    raster: Raster, *, coarse_mm: float, fine_mm: float, rng: np.random.Generator, gain: float = 0.6
) -> FloatArray:
    """Sum of octaves from `coarse_mm` down to `fine_mm`, each `gain` times the amplitude of the one before.

    Returns
    -------
    (H, W) float32 array, mean about 0, standard deviation about 1 before octaves finer than a pixel are left out.
    """
    octaves = max(1, round(np.log2(max(coarse_mm / fine_mm, 1.0))) + 1)
    total = sqrt(sum(gain ** (2 * k) for k in range(octaves)))
    field: FloatArray | None = None
    for k in range(octaves):
        grain_px = raster.px(coarse_mm / 2**k)
        rows, columns = (max(2, min(side, ceil(side / grain_px))) for side in raster.shape)
        octave = rng.standard_normal((rows, columns), dtype=np.float32) * np.float32(gain**k / total / LINEAR_VARIANCE)
        field = octave if field is None else _add_octave(field, octave)
        if grain_px <= 1:
            break
    assert field is not None
    return _enlarge(field, raster, cubic=True)


def _add_octave(field: FloatArray, octave: FloatArray) -> FloatArray:
    rows, columns = octave.shape
    octave += cv2.resize(field, (columns, rows), interpolation=cv2.INTER_LINEAR)
    return octave


def grains(raster: Raster, *, size_mm: float, rng: np.random.Generator, order: float = 0.5) -> Grains:
    """Voronoi cells about `size_mm` across.

    Parameters
    ----------
    raster : Raster
    size_mm : float
        Mean distance of seeds; never painted below 2.5 px (see `Grains.fade`).
    rng : numpy.random.Generator
    order : float
        0 scatters the seeds freely (many sizes), 1 on a shaken grid (one size).
    """
    wanted_px = raster.px(size_mm)
    size_px = max(wanted_px, 2.5)
    rows, columns = (max(2, ceil(side / size_px)) for side in raster.shape)
    count = rows * columns
    free = rng.random((2, count), dtype=np.float32)
    shaken = rng.random((2, count), dtype=np.float32) * np.float32(0.8)
    index = np.arange(count)
    gridded = np.stack([(index // columns + shaken[0]) / rows, (index % columns + shaken[1]) / columns])
    place = np.where(rng.random(count) < order, gridded, free)
    seeds = np.ones(raster.shape, np.uint8)
    y = np.minimum((place[0] * raster.height_px).astype(np.intp), raster.height_px - 1)
    x = np.minimum((place[1] * raster.width_px).astype(np.intp), raster.width_px - 1)
    seeds[y, x] = 0
    _, nearest = cv2.distanceTransformWithLabels(seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    label = np.asarray(nearest, np.int32)
    return Grains(label, borders_px(label), int(np.count_nonzero(seeds == 0)), min(1.0, (wanted_px / size_px) ** 2))


def borders_px(label: IntArray) -> FloatArray:
    """(H, W) distance of each pixel to the border of its label, px."""
    inside = np.ones(label.shape, np.uint8)
    inside[:, :-1] &= label[:, 1:] == label[:, :-1]
    inside[:-1] &= label[1:] == label[:-1]
    return np.asarray(cv2.distanceTransform(inside, cv2.DIST_L2, 5), np.float32)


def step(field: FloatArray, *, at: float, softness: float) -> FloatArray:
    """0 below, 1 above `at`, a smooth ramp `softness` wide between."""
    t = np.clip((field - np.float32(at)) * np.float32(1 / max(softness, 1e-6)) + np.float32(0.5), 0, 1)
    smooth: FloatArray = t * t * (3 - 2 * t)
    return smooth


def shading(
    height_mm: FloatArray, *, mm_per_px: float, azimuth: float = LIGHT_FROM, strength: float = 0.8
) -> FloatArray:
    """Light and shade of a relief under oblique light, as a factor about 1.

    Parameters
    ----------
    height_mm : (H, W) array
    mm_per_px : float
    azimuth : float
        Direction the light comes from, radians from +x towards +y.
    strength : float
        Factor's largest departure from 1 on a steep slope.

    Returns
    -------
    (H, W) float32 array, 1 − strength .. 1 + strength
    """
    height_mm = height_mm.astype(np.float32, copy=False)
    scale = 1 / (8 * mm_per_px)  # 3 x 3 Sobel kernels sum to 8 times the slope per pixel
    rise_x = cv2.Sobel(height_mm, cv2.CV_32F, 1, 0, ksize=3, scale=scale)
    rise_y = cv2.Sobel(height_mm, cv2.CV_32F, 0, 1, ksize=3, scale=scale)
    towards = np.float32(cos(azimuth)) * rise_x + np.float32(sin(azimuth)) * rise_y
    steep = np.sqrt(1 + rise_x * rise_x + rise_y * rise_y)
    return np.asarray(1 - np.float32(strength) * towards / steep, np.float32)


def blur(field: FloatArray, *, radius_px: float) -> FloatArray:
    """Gaussian blur; wide blurs run on a reduced picture (a blur of 4 px and more has nothing finer to lose)."""
    if radius_px < 0.3:
        return field
    factor = int(max(1, radius_px // 3))
    if factor == 1 or min(field.shape[:2]) < 4 * factor:
        return np.asarray(cv2.GaussianBlur(field, (0, 0), radius_px), np.float32)
    height, width = field.shape[:2]
    small = cv2.resize(field, (max(1, width // factor), max(1, height // factor)), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), radius_px / factor)
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
