"""Shapes by their signed distance, and how a shape is laid over a picture."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, sin

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.synthetic.noise import FloatArray, blur


@dataclass(frozen=True)
class Stamp:
    """A small picture of one thing, to be laid over a larger one.

    Attributes
    ----------
    albedo : (h, w, 3) float32 array, 0..1
    alpha : (h, w) float32 array, 0..1
    height_mm : float
        How high the thing stands over what it lies on; sets its shadow.
    """

    albedo: FloatArray
    alpha: FloatArray
    height_mm: float = 0.0

    def windows(
        self, canvas: tuple[int, ...], *, row: float, col: float
    ) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
        """Windows of the picture and of the stamp that meet when the stamp's middle lies at (row, col)."""
        top = round(row - (self.alpha.shape[0] - 1) / 2)
        left = round(col - (self.alpha.shape[1] - 1) / 2)
        return _overlap(canvas, self.alpha.shape, top, left)


@dataclass(frozen=True)
class Patch:
    """Local coordinates, mm, of a square patch with its origin in the middle, turned by an angle.

    Attributes
    ----------
    u, v : (h, w) float32 arrays
        Coordinates along and across the thing.
    mm_per_px : float
    """

    u: FloatArray
    v: FloatArray
    mm_per_px: float

    @classmethod
    def around(cls, reach_mm: float, *, mm_per_px: float, angle: float = 0.0) -> Patch:
        """A patch that holds everything within `reach_mm` of the origin."""
        n = int(np.ceil(reach_mm / mm_per_px)) + 2
        axis = np.arange(-n, n + 1, dtype=np.float32) * np.float32(mm_per_px)
        x, y = axis[None], axis[:, None]
        c, s = np.float32(cos(angle)), np.float32(sin(angle))
        return cls(c * x + s * y, c * y - s * x, mm_per_px)

    def cover(self, distance: FloatArray) -> FloatArray:
        """Share of each pixel inside a shape, from its signed distance in mm (negative inside)."""
        return np.asarray(np.clip(np.float32(0.5) - distance * np.float32(1 / self.mm_per_px), 0, 1), np.float32)

    def box(self, half_u: float, half_v: float, *, corner: float = 0.0, at: tuple[float, float] = (0, 0)) -> FloatArray:
        """Signed distance to a box with rounded corners."""
        return box_distance(self.u - at[0], self.v - at[1], half_u=half_u, half_v=half_v, corner=corner)

    def disc(self, radius: float, *, at: tuple[float, float] = (0, 0)) -> FloatArray:
        """Signed distance to a disc."""
        away = np.hypot(self.u - np.float32(at[0]), self.v - np.float32(at[1]))
        return np.asarray(away - np.float32(radius), np.float32)

    def bar(self, start: tuple[float, float], end: tuple[float, float], radius: float) -> FloatArray:
        """Signed distance to a bar with round ends."""
        du, dv = end[0] - start[0], end[1] - start[1]
        length2 = max(du * du + dv * dv, 1e-9)
        t = np.clip(((self.u - start[0]) * du + (self.v - start[1]) * dv) / length2, 0, 1)
        return (np.hypot(self.u - start[0] - t * du, self.v - start[1] - t * dv) - radius).astype(np.float32)

    def polygon(self, points_mm: NDArray[np.float32]) -> FloatArray:
        """Share of each pixel inside a closed outline of (n, 2) points in (u, v); antialiased by 4 × 4 samples."""
        # The patch is a turned square: its inverse is a rotation, read off the coordinates of one step in x.
        step = self.mm_per_px
        cu, cv = float(self.u[0, 1] - self.u[0, 0]) / step, float(self.v[0, 1] - self.v[0, 0]) / step
        x = (points_mm[:, 0] * cu + points_mm[:, 1] * cv) / step + (self.u.shape[1] - 1) / 2
        y = (-points_mm[:, 0] * cv + points_mm[:, 1] * cu) / step + (self.u.shape[0] - 1) / 2
        return polygon_cover(np.stack([x, y], axis=1), self.u.shape)


def box_distance(u: FloatArray, v: FloatArray, *, half_u: float, half_v: float, corner: float) -> FloatArray:
    """Signed distance, mm, to a box centred on 0 with rounded corners; negative inside."""
    du = np.abs(u) - np.float32(half_u - corner)
    dv = np.abs(v) - np.float32(half_v - corner)
    outside = np.sqrt(np.square(np.maximum(du, 0)) + np.square(np.maximum(dv, 0)))
    distance: FloatArray = outside + np.minimum(np.maximum(du, dv), 0) - np.float32(corner)
    return distance


def polygon_cover(points_px: NDArray[np.floating], shape: tuple[int, ...]) -> FloatArray:
    """Share of each pixel inside a closed outline of (n, 2) points (x, y) in pixels; 4 × 4 samples a pixel."""
    samples = 4
    canvas = np.zeros((shape[0] * samples, shape[1] * samples), np.uint8)
    fine = np.round(((points_px + 0.5) * samples - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(canvas, [fine], 255, shift=4)
    covered = cv2.resize(canvas, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    return np.asarray(covered, np.float32) / np.float32(255)


def blob_outline(
    radius_mm: float, rng: np.random.Generator, *, roughness: float = 0.25, squash: float = 1.0, corners: int = 24
) -> NDArray[np.float32]:
    """(n, 2) outline of an irregular lump: a circle with random low harmonics, flattened by `squash` in v."""
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    radius = np.ones(corners)
    for harmonic in (2, 3, 4, 5, 7):
        radius += roughness / harmonic * rng.standard_normal() * np.cos(harmonic * angle + rng.uniform(0, 2 * np.pi))
    radius = radius_mm * np.maximum(radius, 0.25)
    return np.stack([radius * np.cos(angle), radius * squash * np.sin(angle)], axis=1).astype(np.float32)


def thread(
    points_px: NDArray[np.floating], *, radius_px: float, shape: tuple[int, int]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """A round thread (cable, hose, twine) along a line of (n, 2) points (x, y).

    Returns
    -------
    alpha : (H, W) float32 array, share of each pixel covered
    profile : (H, W) float32 array, 0 on the centre line .. 1 at the rim, how far out of the middle
    side : (H, W) float32 array, −1..1, slope of the thread's surface towards the upper left
    """
    line = np.full(shape, 255, np.uint8)
    fine = np.round(points_px * 16).astype(np.int32)
    cv2.polylines(line, [fine], isClosed=False, color=0, thickness=1, lineType=cv2.LINE_8, shift=4)
    distance = cv2.GaussianBlur(cv2.distanceTransform(line, cv2.DIST_L2, 5), (0, 0), 0.7)
    alpha = np.clip(np.float32(radius_px + 0.5) - distance, 0, min(1.0, 2 * radius_px))
    profile = np.clip(distance / np.float32(max(radius_px, 0.5)), 0, 1)
    slope = cv2.Sobel(distance, cv2.CV_32F, 1, 0, scale=1 / 8) + cv2.Sobel(distance, cv2.CV_32F, 0, 1, scale=1 / 8)
    side = np.clip(-slope * np.float32(0.7), -1, 1) * profile
    return alpha, profile, side


def lay(canvas: FloatArray, stamp: Stamp, *, row: float, col: float, shadow_px: tuple[float, float] = (0, 0)) -> None:
    """Blend a stamp onto a (H, W, 3) picture in place, its middle at (row, col), with a soft shadow below it.

    Parameters
    ----------
    canvas : (H, W, 3) float32 array, changed
    stamp : Stamp
    row, col : float
        Where the stamp's middle comes to lie; anything outside the picture is cut off.
    shadow_px : (float, float)
        Offset (rows, columns) of the shadow; (0, 0) casts none.
    """
    top, left = round(row - (stamp.alpha.shape[0] - 1) / 2), round(col - (stamp.alpha.shape[1] - 1) / 2)
    if shadow_px != (0, 0):
        reach = float(np.hypot(*shadow_px))
        pad = int(np.ceil(2 * reach)) + 2
        soft = blur(np.pad(stamp.alpha, pad), radius_px=max(0.4, 0.5 * reach))
        _window_multiply(
            canvas, 1 - np.float32(0.55) * soft, top - pad + round(shadow_px[0]), left - pad + round(shadow_px[1])
        )
    here, there = stamp.windows(canvas.shape, row=row, col=col)
    weight = stamp.alpha[there][..., None]
    canvas[here] += (stamp.albedo[there] - canvas[here]) * weight


def _window_multiply(canvas: FloatArray, factor: FloatArray, top: int, left: int) -> None:
    here, there = _overlap(canvas.shape, factor.shape, top, left)
    canvas[here] *= factor[there][..., None]


def _overlap(
    canvas: tuple[int, ...], stamp: tuple[int, ...], top: int, left: int
) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Where a stamp and a picture meet: a window of each (both empty when they don't)."""
    here, there = [], []
    for size, side, start in ((canvas[0], stamp[0], top), (canvas[1], stamp[1], left)):
        first, last = max(start, 0), max(min(start + side, size), max(start, 0))
        here.append(slice(first, last))
        there.append(slice(first - start, last - start))
    return (here[0], here[1]), (there[0], there[1])
