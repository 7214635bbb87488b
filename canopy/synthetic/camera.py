"""The pinhole camera of the renderer: where each pixel's ray meets the tray.

World: tray millimetres, x along row A, y towards the last row, z up from the rim plane. The camera looks down; its own
axes are X right, Y down, Z away from the lens, so that an untilted camera shows the tray unturned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]

_UNDISTORT_ROUNDS = 8


@dataclass(frozen=True)
class Camera:
    """Pose and lens.

    Attributes
    ----------
    x_mm, y_mm, z_mm : float
        Place of the lens; z over the rim plane.
    tilt_deg, tilt_towards_deg, turn_deg : float
        Angle of the axis against straight down, the direction it leans to (0 = +x, 90 = +y), rotation about the axis.
    focal_px : float
        Focal length in pixels.
    width_px, height_px : int
    k1 : float
        First radial term (Brown–Conrady), radius in units of half the picture's diagonal.
    """

    x_mm: float
    y_mm: float
    z_mm: float
    tilt_deg: float
    tilt_towards_deg: float
    turn_deg: float
    focal_px: float
    width_px: int
    height_px: int
    k1: float = 0.0

    @property
    def half_diagonal_px(self) -> float:
        """Half of the picture's diagonal, the unit of the lens term's radius."""
        return 0.5 * float(np.hypot(self.width_px, self.height_px))

    @property
    def rotation(self) -> FloatArray:
        """(3, 3) rotation from the straight-down camera's axes to this camera's."""
        tilt, towards, turn = np.deg2rad([self.tilt_deg, self.tilt_towards_deg, self.turn_deg])
        axis = np.array([-np.sin(towards), np.cos(towards), 0.0])
        k = np.array([[0, 0, axis[1]], [0, 0, -axis[0]], [-axis[1], axis[0], 0]])
        lean = np.eye(3) + np.sin(tilt) * k + (1 - np.cos(tilt)) * (k @ k)
        c, s = np.cos(turn), np.sin(turn)
        return np.asarray(np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]) @ lean.T)

    def project(self, points_mm: FloatArray) -> FloatArray:
        """World points (n, 3) → distorted pixels (n, 2), pixel centres at whole numbers."""
        rel = (points_mm - (self.x_mm, self.y_mm, self.z_mm)) * (1, 1, -1)
        cam = rel @ self.rotation.T
        ideal = self.focal_px * cam[:, :2] / cam[:, 2:]
        r2 = (ideal**2).sum(axis=1, keepdims=True) / self.half_diagonal_px**2
        return np.asarray(ideal * (1 + self.k1 * r2) + self.centre_px)

    @property
    def centre_px(self) -> tuple[float, float]:
        """Where the axis meets the picture: its middle."""
        return (self.width_px - 1) / 2, (self.height_px - 1) / 2


@dataclass(frozen=True)
class Rays:
    """For every pixel, the line of world points it sees: (x0 + z·ax, y0 + z·ay, z); float32 maps of picture size."""

    x0: Float32Array
    y0: Float32Array
    ax: Float32Array
    ay: Float32Array

    def at(self, z_mm: float | Float32Array) -> tuple[Float32Array, Float32Array]:
        """(x, y) mm where the rays pass height `z_mm`."""
        z = np.asarray(z_mm, np.float32)
        return self.x0 + z * self.ax, self.y0 + z * self.ay

    def crop(self, rows: slice, columns: slice) -> Rays:
        """The rays of a window of the picture."""
        window = (rows, columns)
        return Rays(self.x0[window], self.y0[window], self.ax[window], self.ay[window])


def cast_rays(camera: Camera) -> Rays:
    """Rays of all pixels; the lens term is inverted by fixed-point iteration."""
    u, v = _undistorted(camera)
    r = camera.rotation.T.astype(np.float32)
    f = np.float32(camera.focal_px)
    dx = r[0, 0] * u + r[0, 1] * v + r[0, 2] * f
    dy = r[1, 0] * u + r[1, 1] * v + r[1, 2] * f
    dz = -(r[2, 0] * u + r[2, 1] * v + r[2, 2] * f)
    ax, ay = dx / dz, dy / dz
    z = np.float32(camera.z_mm)
    return Rays(np.float32(camera.x_mm) - z * ax, np.float32(camera.y_mm) - z * ay, ax, ay)


def _undistorted(camera: Camera) -> tuple[Float32Array, Float32Array]:
    """Where every pixel would lie without the lens term, in pixels from the picture's centre."""
    cx, cy = camera.centre_px
    u, v = np.meshgrid(
        (np.arange(camera.width_px, dtype=np.float32) - np.float32(cx)),
        (np.arange(camera.height_px, dtype=np.float32) - np.float32(cy)),
    )
    if camera.k1:
        unit = np.float32(1 / camera.half_diagonal_px**2)
        du, dv = u.copy(), v.copy()
        for _ in range(_UNDISTORT_ROUNDS):
            factor = 1 / (1 + np.float32(camera.k1) * (u * u + v * v) * unit)
            u, v = du * factor, dv * factor
    return u, v


def look_at(
    centre_mm: tuple[float, float],
    span_mm: tuple[float, float],
    *,
    width_px: int,
    height_px: int,
    fill: float,
    distance_mm: float,
    tilt_deg: float = 0.0,
    tilt_towards_deg: float = 0.0,
    turn_deg: float = 0.0,
    k1: float = 0.0,
) -> Camera:
    """A camera whose axis meets the rim plane at `centre_mm`, framing a span.

    Parameters
    ----------
    centre_mm, span_mm : tuple of float
        Where to look and how much (width, height) must be seen, mm.
    fill : float
        Share of the picture that the span takes in the tighter direction, 0..1 (more than 1 cuts the span off).
    distance_mm : float
        Lens to `centre_mm` along the axis.
    """
    turn = np.deg2rad(turn_deg)
    c, s = abs(np.cos(turn)), abs(np.sin(turn))
    seen_w, seen_h = span_mm[0] * c + span_mm[1] * s, span_mm[0] * s + span_mm[1] * c
    focal = fill * distance_mm * min(width_px / seen_w, height_px / seen_h)
    tilt, towards = np.deg2rad([tilt_deg, tilt_towards_deg])
    back = distance_mm * np.sin(tilt)
    return Camera(
        x_mm=float(centre_mm[0] - back * np.cos(towards)),
        y_mm=float(centre_mm[1] - back * np.sin(towards)),
        z_mm=float(distance_mm * np.cos(tilt)),
        tilt_deg=tilt_deg,
        tilt_towards_deg=tilt_towards_deg,
        turn_deg=turn_deg,
        focal_px=float(focal),
        width_px=width_px,
        height_px=height_px,
        k1=k1,
    )


def straight_down(x0_mm: float, y0_mm: float, *, width_px: int, height_px: int, mm_per_px: float) -> Rays:
    """Parallel rays from straight above: pixel [i, j] sees (x0 + j·mm_per_px, y0 + i·mm_per_px) at every height."""
    x = np.float32(x0_mm) + np.arange(width_px, dtype=np.float32) * np.float32(mm_per_px)
    y = np.float32(y0_mm) + np.arange(height_px, dtype=np.float32) * np.float32(mm_per_px)
    grid_x, grid_y = np.meshgrid(x, y)
    none = np.zeros((height_px, width_px), np.float32)
    return Rays(grid_x, grid_y, none, none)
