"""Draws a scene through its camera: ground, tray, leaves from the lowest up with shadows, things above, sensor."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.synthetic.backdrop import Canvas, paint_backdrop, paint_foreground
from canopy.synthetic.camera import Rays, cast_rays
from canopy.synthetic.develop import develop
from canopy.synthetic.leaves import Leaf, LeafPaint, leaf_bounds_mm, leaf_height_mm, paint_leaf
from canopy.synthetic.light import Light, brightness_field
from canopy.synthetic.scene import Scene, tile_at

Float32Array = NDArray[np.float32]
Window = tuple[slice, slice]

_RAY_ROUNDS = 3
"""Rounds of ray against leaf surface; slopes below 1.5 and rays below 25° shrink the error about five times a round."""
_WINDOW_MARGIN_PX = 2
_SPECULAR_POWER = 24
_SHADOW_DEPTH = 0.85
_AMBIENT_OCCLUSION = 0.45
_WIDEST_SHADOW_PX = 40
_DEAD = 3


@dataclass(frozen=True)
class Picture:
    """A drawn photo and what is truly in it, pixel by pixel.

    Attributes
    ----------
    rgb : (M, N, 3) uint8 ndarray
        sRGB code values.
    canopy : (M, N) uint8 ndarray
        Share of the pixel covered by living canopy of any tray, times 255.
    plant : (M, N) uint16 ndarray
        Cell number of the living plant seen there, 0 elsewhere.
    damage : (M, N) uint8 ndarray
        0 healthy or no plant, 1 yellow, 2 brown.
    """

    rgb: NDArray[np.uint8]
    canopy: NDArray[np.uint8]
    plant: NDArray[np.uint16]
    damage: NDArray[np.uint8]


def render(scene: Scene) -> Picture:
    """Draw the scene; pure function of it."""
    rng = np.random.default_rng([scene.seed, 1])
    rays = cast_rays(scene.camera)
    canvas = paint_backdrop(scene, rays, rng=rng)
    for leaf, alive in _from_the_lowest(scene):
        _draw_leaf(canvas, leaf, scene, rays, alive=alive)
    paint_foreground(canvas, scene, rays, rng=rng)
    height, width = rays.x0.shape
    canvas.radiance *= brightness_field(scene.light, height_px=height, width_px=width, rng=rng)
    rgb = develop(canvas.radiance, scene.look, rng=rng)
    canopy = np.asarray(np.round(np.clip(canvas.canopy, 0, 1) * 255), np.uint8)
    seen = canvas.canopy >= 0.5
    if scene.layout.kind == "mat":
        standing_over = tile_at(scene.layout, *rays.at(canvas.top_mm))
        canvas.plant = np.where(canvas.plant > 0, standing_over, np.uint16(0))
    return Picture(rgb, canopy, np.where(seen, canvas.plant, 0).astype(np.uint16), np.where(seen, canvas.damage, 0))


def _from_the_lowest(scene: Scene) -> Iterable[tuple[Leaf, bool]]:
    """All leaves in view in painting order; leaves of neighbouring trays are moved there and owned by plant 0."""
    pool: list[tuple[Leaf, bool]] = [(leaf, plant.alive) for plant in scene.plants for leaf in plant.leaves]
    for other in scene.neighbours:
        for plant in other.plants:
            pool += [(move_leaf(leaf, other.dx_mm, other.dy_mm), plant.alive) for leaf in plant.leaves]
    return sorted(pool, key=lambda item: item[0].layer_mm)


def move_leaf(leaf: Leaf, dx_mm: float, dy_mm: float) -> Leaf:
    """The same leaf elsewhere, owned by nobody."""
    x0, y0, z0, x1, y1, z1 = leaf.bounds_mm
    bounds = (x0 + dx_mm, y0 + dy_mm, z0, x1 + dx_mm, y1 + dy_mm, z1)
    return replace(leaf, plant=0, x_mm=leaf.x_mm + dx_mm, y_mm=leaf.y_mm + dy_mm, bounds_mm=bounds)


def _draw_leaf(canvas: Canvas, leaf: Leaf, scene: Scene, rays: Rays, *, alive: bool) -> None:
    """Cast the leaf's shadow on what lies below, then paint it."""
    window = _window(leaf, scene)
    if window is None:
        return
    px_mm = max(1e-3, (scene.camera.z_mm - leaf.top_mm) / scene.camera.focal_px)
    x, y, z = meet_leaf(leaf, rays.crop(*window))
    paint = paint_leaf(leaf, x, y, px_mm=px_mm)
    if not paint.coverage.any():
        return
    _cast_shadow(canvas, paint.coverage, window, scene, height_mm=float(np.mean(z)), px_mm=px_mm)
    alpha = paint.coverage
    keep = 1 - alpha
    canvas.radiance[window] *= keep[..., None]
    canvas.radiance[window] += alpha[..., None] * shade(paint, scene.light)
    top = canvas.top_mm[window]
    top += alpha * (z - top)
    living = (paint.damage != _DEAD) if alive else np.zeros(alpha.shape, bool)
    canvas.canopy[window] *= keep
    canvas.canopy[window] += np.where(living, alpha, 0)
    owned = alpha >= 0.5
    canvas.plant[window][owned] = np.where(living, leaf.plant, 0)[owned]
    canvas.damage[window][owned] = paint.damage[owned]


def meet_leaf(leaf: Leaf, rays: Rays) -> tuple[Float32Array, Float32Array, Float32Array]:
    """Where rays meet the leaf's surface: (x, y, z) mm by fixed-point iteration on height."""
    x, y = rays.at(leaf.top_mm)
    for _ in range(_RAY_ROUNDS if rays.ax.any() else 1):
        z = np.asarray(leaf_height_mm(leaf, x, y), np.float32)
        x, y = rays.at(z)
    return x, y, z


def shade(paint: LeafPaint, light: Light) -> Float32Array:
    """Light that a leaf sends up, relative to a white flat surface: Lambert plus a broad gloss."""
    lx, ly, lz = (np.float32(value) for value in light.towards)
    n = paint.normal
    facing = np.maximum(n[..., 0] * lx + n[..., 1] * ly + n[..., 2] * lz, 0) / lz
    diffuse = (1 - light.direct) * (0.7 + 0.3 * n[..., 2]) + light.direct * facing
    half = np.array([lx, ly, lz + 1], np.float32)
    half /= np.linalg.norm(half)
    mirror = np.maximum(n @ half, 0) ** _SPECULAR_POWER
    gloss = paint.gloss * (mirror * np.float32(0.5 * light.direct) + np.float32(0.02))
    return np.asarray(paint.albedo * diffuse[..., None] + gloss[..., None], np.float32)


def _window(leaf: Leaf, scene: Scene) -> Window | None:
    """Pixels that the leaf may cover, or None outside the picture."""
    x0, y0, z0, x1, y1, z1 = leaf_bounds_mm(leaf)
    box = np.array([[x, y, z] for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)])
    px = scene.camera.project(box)
    low = np.floor(px.min(axis=0)).astype(int) - _WINDOW_MARGIN_PX
    high = np.ceil(px.max(axis=0)).astype(int) + _WINDOW_MARGIN_PX + 1
    left, top = max(0, low[0]), max(0, low[1])
    right, bottom = min(scene.camera.width_px, high[0]), min(scene.camera.height_px, high[1])
    return (slice(top, bottom), slice(left, right)) if right > left and bottom > top else None


def _cast_shadow(
    canvas: Canvas, alpha: Float32Array, window: Window, scene: Scene, *, height_mm: float, px_mm: float
) -> None:
    """Darken what lies below by a moved, softened copy of the leaf and by its closeness."""
    above_mm = max(1.0, height_mm - float(canvas.top_mm[window].mean()))
    move = np.array(scene.light.shadow_offset_mm(above_mm)) / px_mm
    turn = np.deg2rad(scene.camera.turn_deg)
    dx = round(float(move[0] * np.cos(turn) - move[1] * np.sin(turn)))
    dy = round(float(move[0] * np.sin(turn) + move[1] * np.cos(turn)))
    soft = int(np.clip(scene.light.penumbra * above_mm / px_mm, 1, _WIDEST_SHADOW_PX))
    near = int(np.clip(0.5 * above_mm / px_mm, 1, _WIDEST_SHADOW_PX))
    pad = max(soft, near) + 1
    padded = np.asarray(cv2.copyMakeBorder(alpha, pad, pad, pad, pad, cv2.BORDER_CONSTANT, value=0.0), np.float32)
    cast = _soften(padded, soft) * np.float32(-scene.light.direct * _SHADOW_DEPTH) + 1
    close = _soften(padded, near) * np.float32(-_AMBIENT_OCCLUSION * (1 - scene.light.direct)) + 1
    _multiply(canvas.radiance, cast, window[0].start - pad + dy, window[1].start - pad + dx)
    _multiply(canvas.radiance, close, window[0].start - pad, window[1].start - pad)


def _soften(mask: Float32Array, radius_px: int) -> Float32Array:
    """Two box filters: a cheap bell."""
    size = (2 * (radius_px // 2) + 1,) * 2
    return np.asarray(cv2.blur(cv2.blur(mask, size), size), np.float32)


def _multiply(radiance: Float32Array, factor: Float32Array, top: int, left: int) -> None:
    """Multiply a window of the picture, cut at its borders."""
    rows = slice(max(0, top), min(radiance.shape[0], top + factor.shape[0]))
    columns = slice(max(0, left), min(radiance.shape[1], left + factor.shape[1]))
    if rows.start < rows.stop and columns.start < columns.stop:
        part = factor[rows.start - top : rows.stop - top, columns.start - left : columns.stop - left]
        radiance[rows, columns] *= part[..., None]
