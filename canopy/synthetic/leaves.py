"""One leaf as a height field over its own footprint: where it is, how high, and what it looks like.

Tray coordinates in mm: x along row A, y towards the last row, z up, 0 in the rim plane.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.synthetic.damage import LeafDamage
from canopy.synthetic.leaf_outline import FloatArray, Outline, footprint, outline_points, take_points
from canopy.synthetic.leaf_paint import LeafLook, paint_points

_SAFE_WIDTH_PX = 40  # from this width on, one sample per pixel keeps the area within 0.3 %
_MOST_PARTS = 5


@dataclass(frozen=True)
class Relief:
    """Shape in height, relative to leaf length or half-width.

    z = rise·r − droop·r² (times length) + (cup·τ² + frill·τ²·sin(waves·2π·r + phase + 1.5τ)) (times half-width) +
    twist·r·t,
    with r = u/length and τ = t/half-width.
    """

    rise: float
    droop: float
    cup: float
    frill: float
    waves: float
    phase: float
    twist: float


@dataclass(frozen=True, eq=False)
class Leaf:
    """One leaf, cotyledon, blade of grass or piece of stem of one plant, posed in the tray.

    Attributes
    ----------
    plant : int
        1-based index of the plant within the tray.
    part : str
        `leaf`, `cotyledon` or `stem`.
    x_mm, y_mm, z_mm : float
        Base of the leaf.
    azimuth_rad : float
        Direction of the axis at the base, from +x towards +y.
    top_mm : float
        Highest z.
    layer_mm : float
        Where the leaf comes in a painter's order: its top, but never below an older leaf of its stem, since younger
        leaves are inserted
        above older ones even where the old ones rise higher at their tips.
    bounds_mm : 6 floats
        x0, y0, z0, x1, y1, z1.
    """

    plant: int
    part: str
    x_mm: float
    y_mm: float
    z_mm: float
    azimuth_rad: float
    outline: Outline
    relief: Relief
    look: LeafLook
    damage: LeafDamage
    top_mm: float
    layer_mm: float
    bounds_mm: tuple[float, float, float, float, float, float]

    @property
    def area_mm2(self) -> float:
        """Exact area as seen from straight above, alone."""
        return self.outline.area_mm2


@dataclass(frozen=True, eq=False)
class LeafPaint:
    """What a leaf looks like at given points; arrays of the input's shape.

    Attributes
    ----------
    coverage : float32, share of a pixel that is leaf, 0..1
    albedo : float32, trailing axis 3, linear reflectance 0..1 on sRGB primaries
    normal : float32, trailing axis 3, unit length, z up
    gloss : float32, specular strength 0..1
    damage : uint8, 0 healthy, 1 yellow, 2 brown, 3 dead

    Where coverage is 0 the rest is 0, and the normal points up.
    """

    coverage: FloatArray
    albedo: FloatArray
    normal: FloatArray
    gloss: FloatArray
    damage: NDArray[np.uint8]


def make_leaf(
    *,
    plant: int,
    part: str,
    base_mm: tuple[float, float, float],
    azimuth_rad: float,
    outline: Outline,
    relief: Relief,
    look: LeafLook,
    damage: LeafDamage,
) -> Leaf:
    """Pose a leaf and take its bounds."""
    u, v = outline_points(outline)
    z = base_mm[2] + _height(outline, relief, u, v)[0]
    cos, sin = math.cos(azimuth_rad), math.sin(azimuth_rad)
    x, y = base_mm[0] + u * cos - v * sin, base_mm[1] + u * sin + v * cos
    spare = 0.02 * outline.length_mm  # margin points are every 6th station
    low, high = float(z.min()), float(z.max())
    bounds = (
        float(x.min()) - spare, float(y.min()) - spare, low,
        float(x.max()) + spare, float(y.max()) + spare, high,
    )  # fmt: skip
    return Leaf(plant, part, *base_mm, azimuth_rad, outline, relief, look, damage, high, high, bounds)


def leaf_bounds_mm(leaf: Leaf) -> tuple[float, float, float, float, float, float]:
    """The box around a leaf: x0, y0, z0, x1, y1, z1 in mm."""
    return leaf.bounds_mm


def leaf_height_mm(leaf: Leaf, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
    """Height z of the leaf's surface over (x, y) in mm; runs on smoothly outside the outline."""
    u, v = _leaf_frame(leaf, x_mm, y_mm)
    return leaf.z_mm + _height(leaf.outline, leaf.relief, u, v)[0]


def paint_leaf(leaf: Leaf, x_mm: FloatArray, y_mm: FloatArray, *, px_mm: float) -> LeafPaint:
    """Look of the leaf at points (x, y) of its surface, seen with pixels of px_mm: detail finer than that is
    averaged away."""
    x, y = np.asarray(x_mm, np.float32), np.asarray(y_mm, np.float32)
    shape = x.shape
    u, v = _leaf_frame(leaf, x.reshape(-1), y.reshape(-1))
    place = footprint(leaf.outline, u, v, px_mm=px_mm)
    coverage = _finer_coverage(leaf.outline, u, v, place.coverage, px_mm=px_mm)
    inside = np.flatnonzero(coverage > 0.0)
    albedo, normal = np.zeros((u.size, 3), np.float32), np.zeros((u.size, 3), np.float32)
    gloss, damage = np.zeros(u.size, np.float32), np.zeros(u.size, np.uint8)
    normal[:, 2] = 1.0
    if inside.size:
        _, slope_u, slope_v = _height(leaf.outline, leaf.relief, u[inside], v[inside], slopes=True)
        painted = paint_points(
            leaf.look,
            leaf.damage,
            take_points(place, inside),
            length_mm=leaf.outline.length_mm,
            widest_mm=leaf.outline.widest_mm,
            px_mm=px_mm,
        )
        albedo[inside] = painted.albedo.T
        normal[inside] = _normals(leaf, slope_u + painted.slope_u, slope_v + painted.slope_v).T
        gloss[inside], damage[inside] = painted.gloss, painted.codes
    return LeafPaint(
        coverage.reshape(shape),
        albedo.reshape(*shape, 3),
        normal.reshape(*shape, 3),
        gloss.reshape(shape),
        damage.reshape(shape),
    )


def _finer_coverage(
    outline: Outline, u: FloatArray, v: FloatArray, coverage: FloatArray, *, px_mm: float
) -> FloatArray:
    """Coverage again as the mean over parts of each pixel, for leaves only a few pixels wide.

    The distance to the margin is first order; against features of a pixel's size it errs by several per cent of a
    small leaf, and
    small leaves have few pixels, so that finer sampling costs little.
    """
    parts = min(math.ceil(_SAFE_WIDTH_PX * px_mm / max(2.0 * outline.widest_mm, 1e-3)), _MOST_PARTS)
    if parts < 2:
        return coverage
    near = np.flatnonzero(footprint(outline, u, v, px_mm=3.0 * px_mm).coverage > 0.0)
    offset = ((np.arange(parts, dtype=np.float32) + 0.5) / parts - 0.5) * px_mm
    du, dv = np.repeat(offset, parts)[:, None], np.tile(offset, parts)[:, None]
    finer = np.zeros_like(coverage)
    part = footprint(outline, np.add(u[near], du), np.add(v[near], dv), px_mm=px_mm / parts)
    finer[near] = part.coverage.mean(axis=0)
    return finer


def _leaf_frame(leaf: Leaf, x_mm: FloatArray, y_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    cos, sin = math.cos(leaf.azimuth_rad), math.sin(leaf.azimuth_rad)
    dx, dy = np.asarray(x_mm, np.float32) - leaf.x_mm, np.asarray(y_mm, np.float32) - leaf.y_mm
    return dx * cos + dy * sin, dy * cos - dx * sin


def _height(
    outline: Outline, relief: Relief, u: FloatArray, v: FloatArray, *, slopes: bool = False
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Height over the base and, if asked, its slopes along u and v."""
    length, width = outline.length_mm, max(outline.widest_mm, 1e-3)
    r = np.clip(u * (1.0 / length), -0.1, 1.1)
    bend = outline.bend
    t = v - (bend * length) * (r * r)
    tau = np.clip(t * (1.0 / width), -1.3, 1.3)
    square = tau * tau
    angle = r * (2.0 * math.pi * relief.waves) + relief.phase + 1.5 * tau
    wave = relief.cup + relief.frill * np.sin(angle)
    z = (r * (relief.rise - relief.droop * r)) * length + (width * square) * wave + (relief.twist * width) * (r * tau)
    if not slopes:
        return z, z, z
    swing = relief.frill * np.cos(angle)
    slope_t = 2.0 * tau * wave + square * (1.5 * swing) + relief.twist * r
    slope_r = (
        relief.rise
        - (2.0 * relief.droop) * r
        + (width / length) * (square * swing * (2.0 * math.pi * relief.waves) + relief.twist * tau)
    )
    return z, slope_r - slope_t * (2.0 * bend * r), slope_t


def _normals(leaf: Leaf, slope_u: FloatArray, slope_v: FloatArray) -> FloatArray:
    """Unit normals (3, N) in tray coordinates from slopes in the leaf's frame."""
    cos, sin = math.cos(leaf.azimuth_rad), math.sin(leaf.azimuth_rad)
    scale = 1.0 / np.sqrt(slope_u * slope_u + slope_v * slope_v + 1.0)
    normal = np.empty((3, slope_u.size), np.float32)
    normal[0] = (slope_v * sin - slope_u * cos) * scale
    normal[1] = (slope_u * sin + slope_v * cos) * -scale
    normal[2] = scale
    return normal
