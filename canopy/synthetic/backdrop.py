"""Everything of a scene but its plants, seen through the camera: ground, neighbouring trays, the tray, things above."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.synthetic.camera import Rays
from canopy.synthetic.clutter import scatter_clutter
from canopy.synthetic.grounds import paint_ground
from canopy.synthetic.over import paint_over
from canopy.synthetic.scene import Scene
from canopy.synthetic.trays import TrayPaint, paint_tray

Float32Array = NDArray[np.float32]

_TRAY_SHADOW_MM = 14.0
_TRAY_SHADOW = 0.45
_OVER_HEIGHT_MM = 60.0
_LEAST_MARGIN_MM = 45.0
_LARGEST_CANVAS_PX = 6000


@dataclass
class Canvas:
    """The picture while it is drawn: linear light and the truth under it, all of the picture's size.

    Attributes
    ----------
    radiance : (M, N, 3) float32 ndarray
        Light sent up, 1 = a white flat surface in full light.
    top_mm : (M, N) float32 ndarray
        Height of what is seen.
    canopy : (M, N) float32 ndarray
        Living canopy share, 0..1.
    plant : (M, N) uint16 ndarray
    damage : (M, N) uint8 ndarray
    """

    radiance: Float32Array
    top_mm: Float32Array
    canopy: Float32Array
    plant: NDArray[np.uint16]
    damage: NDArray[np.uint8]


def paint_backdrop(scene: Scene, rays: Rays, *, rng: np.random.Generator) -> Canvas:
    """Ground with clutter, neighbouring trays, the tray itself; no plants yet."""
    has_tray = bool(scene.surroundings.tray_style)
    ground_mm = -scene.surroundings.tray_height_mm if has_tray else 0.0
    radiance = _ground(scene, rays, ground_mm, rng)
    shape = radiance.shape[:2]
    top = np.full(shape, ground_mm, np.float32)
    canvas = Canvas(radiance, top, np.zeros(shape, np.float32), np.zeros(shape, np.uint16), np.zeros(shape, np.uint8))
    if has_tray:
        for dx, dy in [(n.dx_mm, n.dy_mm) for n in scene.neighbours] + [(0.0, 0.0)]:
            own = dx == 0 and dy == 0
            _lay_tray(canvas, _tray(scene, rng, own=own, px_mm=_px_mm(scene)), rays, dx_mm=dx, dy_mm=dy)
    return canvas


def paint_foreground(canvas: Canvas, scene: Scene, rays: Rays, *, rng: np.random.Generator) -> None:
    """Things above the leaves hide them: paint them and take the hidden canopy out of the truth."""
    if not scene.surroundings.over:
        return
    height, width = rays.x0.shape
    px_mm = max(1e-3, (scene.camera.z_mm - _OVER_HEIGHT_MM) / scene.camera.focal_px)
    albedo, alpha = paint_over(height, width, mm_per_px=px_mm, rng=rng, kinds=scene.surroundings.over)
    canvas.radiance *= (1 - alpha)[..., None]
    canvas.radiance += albedo * alpha[..., None]
    hides = alpha > 0.5  # a droplet bends light but the leaf is still seen through it
    canvas.canopy[hides] = 0
    canvas.plant[hides] = 0


def _px_mm(scene: Scene) -> float:
    """Millimetres of the rim plane per pixel, about."""
    return scene.camera.z_mm / scene.camera.focal_px


def _ground(scene: Scene, rays: Rays, z_mm: float, rng: np.random.Generator) -> Float32Array:
    """The ground's reflectance as the camera sees it."""
    x, y = rays.at(z_mm)
    x0, x1, y0, y1 = float(x.min()), float(x.max()), float(y.min()), float(y.max())
    step = max(_px_mm(scene), max(x1 - x0, y1 - y0) / _LARGEST_CANVAS_PX)
    size = {"height_px": int((y1 - y0) / step) + 2, "width_px": int((x1 - x0) / step) + 2}
    albedo = paint_ground(scene.surroundings.ground, **size, mm_per_px=step, rng=rng)
    if scene.surroundings.clutter:
        albedo = scatter_clutter(
            albedo, mm_per_px=step, rng=rng, kinds=scene.surroundings.clutter, amount=scene.surroundings.clutter_amount
        )
    x -= np.float32(x0)
    y -= np.float32(y0)
    x /= np.float32(step)
    y /= np.float32(step)
    return np.asarray(cv2.remap(albedo, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT), np.float32)


def _tray(scene: Scene, rng: np.random.Generator, *, own: bool, px_mm: float) -> TrayPaint:
    """The tray's body and media from straight above; a neighbour carries no markers that could be taken for ours."""
    around = scene.surroundings
    return paint_tray(
        scene.layout,
        style=around.tray_style,
        media=around.media,
        mm_per_px=px_mm,
        margin_mm=max(_LEAST_MARGIN_MM, scene.layout.markers.offset_mm + scene.layout.markers.side_mm),
        rng=rng,
        algae=around.algae,
        wet=around.wet,
        markers=around.markers and own,
        label_text=around.label_text if own else None,
        tape=around.tape,
    )


def _lay_tray(canvas: Canvas, tray: TrayPaint, rays: Rays, *, dx_mm: float, dy_mm: float) -> None:
    """Composite a tray over the ground, following the depth of its cells once along the ray."""
    step = np.float32(tray.mm_per_px)
    column = (rays.x0 - np.float32(tray.x0_mm + dx_mm)) / step
    row = (rays.y0 - np.float32(tray.y0_mm + dy_mm)) / step
    depth = cv2.remap(tray.depth_mm, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    column += depth * rays.ax / step
    row += depth * rays.ay / step
    alpha = cv2.remap(tray.alpha, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    albedo = cv2.remap(tray.albedo, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    gloss = cv2.remap(tray.gloss, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    radius = max(1, int(_TRAY_SHADOW_MM / step))
    shadow = cv2.blur(cv2.blur(alpha, (radius, radius)), (radius, radius))
    canvas.radiance *= (1 - _TRAY_SHADOW * shadow)[..., None]
    canvas.radiance *= (1 - alpha)[..., None]
    canvas.radiance += (albedo + (gloss * np.float32(0.05))[..., None]) * alpha[..., None]
    canvas.top_mm += alpha * (depth - canvas.top_mm)
