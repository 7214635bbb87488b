"""A hand reaching in from the picture's edge, bare or gloved."""

from __future__ import annotations

from math import ceil

import cv2
import numpy as np

from canopy.synthetic.noise import FloatArray, Raster, blur, fractal_noise, shading
from canopy.synthetic.pigments import blend, choose, flat, tint_by, toned, vary
from canopy.synthetic.shapes import Patch, Stamp

SKIN = ("#f1cdb5", "#e3b394", "#cf9670", "#b0784f", "#8a5a3a", "#6a4029", "#4a2c1d", "#35201a")
GLOVES = ("#2f6fc0", "#5b9ad6", "#18181a", "#ecebe8", "#4d9a68", "#8a63b0", "#d7c9a0", "#3c5a44")
_FINEST_MM = 0.35
SLEEVES = ("#e9e9e6", "#2b3a55", "#40464a", "#7a2f2f", "#53624a", "#b9b2a2")


def hand(raster: Raster, rng: np.random.Generator, *, gloved: bool) -> Stamp:
    """One hand with five fingers and a forearm that comes in from an edge, in a stamp of the picture's size.

    Drawn no finer than 0.35 mm per pixel and enlarged: a hand above the leaves is out of focus anyway.
    """
    factor = max(1.0, _FINEST_MM / raster.mm_per_px)
    coarse = Raster(ceil(raster.height_px / factor), ceil(raster.width_px / factor), raster.mm_per_px * factor)
    stamp = _hand(coarse, rng, gloved=gloved)
    if coarse.shape == raster.shape:
        return stamp
    size = raster.width_px, raster.height_px
    return Stamp(_resized(stamp.albedo, size), _resized(stamp.alpha, size), stamp.height_mm)


def _resized(picture: FloatArray, size: tuple[int, int]) -> FloatArray:
    return np.asarray(cv2.resize(picture, size), np.float32)


def _hand(raster: Raster, rng: np.random.Generator, *, gloved: bool) -> Stamp:
    colour = choose(GLOVES if gloved else SKIN, rng, light=0.12, tint=0.03)
    patch = _place(raster, rng)
    fingers, palm, nails = _skeleton(patch, rng)
    distance = np.minimum(palm, np.minimum.reduce(fingers))
    alpha = patch.cover(distance)
    height = np.sqrt(np.clip(-np.minimum.reduce([palm * 0.8, *fingers]) / 9, 0, 1)) * np.float32(9)
    creases = fractal_noise(raster, coarse_mm=18, fine_mm=1.0 if gloved else 0.6, rng=rng, gain=0.6)
    height = blur(height.astype(np.float32), radius_px=raster.px(0.8)) + creases * np.float32(0.5 if gloved else 0.15)
    lit = shading(height, mm_per_px=raster.mm_per_px, strength=0.4)
    between = np.sort(np.stack(fingers), axis=0)[:2]
    cleft = np.exp(-np.square((between[1] - between[0]) / np.float32(1.2))) * (palm > -2)
    albedo = tint_by(
        flat(raster.shape, colour), lit * (1 - np.float32(0.45) * cleft) * (1 + np.float32(0.04) * creases)
    )
    if gloved:
        shine = np.clip(lit - np.float32(1.15), 0, 1)
        albedo = np.clip(albedo + shine[..., None] * np.float32(0.5), 0, 1)
    else:
        red = np.clip(1 - (-distance) / 12, 0, 1) * (alpha > 0)
        flush = 1 + red[..., None].astype(np.float32) * np.array([0.10, -0.06, -0.05], np.float32)
        albedo = np.asarray(albedo * flush, np.float32)
        albedo = blend(albedo, vary(colour, rng, light=0.05) * np.float32(1.1), patch.cover(nails) * np.float32(0.6))
    if rng.random() < 0.5:
        sleeve = patch.cover(np.maximum(distance, patch.u + rng.uniform(70, 110)))
        cloth = toned(raster, choose(SLEEVES, rng), lit * (1 + np.float32(0.12) * creases))
        albedo = blend(albedo, cloth, sleeve)
    return Stamp(np.clip(albedo, 0, 1).astype(np.float32), alpha, height_mm=25)


def _place(raster: Raster, rng: np.random.Generator) -> Patch:
    """Coordinates with the palm at the origin and the fingers along +u, pointing inwards from an edge."""
    width, height = (side * raster.mm_per_px for side in (raster.width_px, raster.height_px))
    edge = rng.uniform(0, 2 * np.pi)
    reach = rng.uniform(0.25, 0.5)
    x0, y0 = width * (0.5 + reach * np.cos(edge)), height * (0.5 + reach * np.sin(edge))
    angle = edge + np.pi + rng.uniform(-0.5, 0.5)
    x, y = raster.axes_mm()
    x, y = x - np.float32(x0), y - np.float32(y0)
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    return Patch(c * x + s * y, c * y - s * x, raster.mm_per_px)


def _skeleton(patch: Patch, rng: np.random.Generator) -> tuple[list[FloatArray], FloatArray, FloatArray]:
    """Signed distances of each finger (thumb last), of palm with forearm, and of all nails."""
    side, size = (1 if rng.random() < 0.5 else -1), rng.uniform(0.85, 1.1)
    curl = rng.uniform(0.55, 1.0)
    fingers: list[FloatArray] = []
    nails = np.full(patch.u.shape, 1e3, np.float32)
    for root, long, spread in ((-30, 62, -0.20), (-10, 76, -0.06), (11, 82, 0.04), (31, 70, 0.16)):
        bend = spread * rng.uniform(0.3, 1.6) + rng.normal(0, 0.04)
        start = np.array([38.0, root * side * 0.85])
        tip = start + long * curl * rng.uniform(0.85, 1.05) * np.array([np.cos(bend), side * np.sin(bend)])
        fingers.append(patch.bar(tuple(start * size), tuple(tip * size), rng.uniform(7.2, 8.6) * size))
        nails = np.minimum(nails, patch.disc(4.6 * size, at=tuple(tip * size)))
    start, tip = np.array([-18.0, -36.0 * side]), np.array([32.0, -66.0 * side]) + rng.normal(0, 6, 2)
    fingers.append(patch.bar(tuple(start * size), tuple(tip * size), 10 * size))
    nails = np.minimum(nails, patch.disc(5.5 * size, at=tuple(tip * size)))
    palm = patch.box(46 * size, 42 * size, corner=26 * size)
    arm = patch.bar((-40 * size, 0), (-900.0, 0), 29 * size)
    blended = np.minimum(palm, arm) - np.float32(6) * np.exp(-np.square((palm - arm) / np.float32(10)))
    return fingers, blended.astype(np.float32), nails
