"""Light over the tray: colour, direction, unevenness; and the random lights of rooms and lamps."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Float32Array = NDArray[np.float32]


@dataclass(frozen=True)
class Light:
    """One illumination of a scene.

    Attributes
    ----------
    rgb : tuple of float
        Colour of the light, linear; 1, 1, 1 is the white the camera is balanced for.
    direct : float
        Share of light from one direction (the rest comes from everywhere), 0..1.
    azimuth_deg, elevation_deg : float
        Where the direct light comes from (0 = from +x) and how high it stands.
    penumbra : float
        Width of a shadow's soft edge per mm of height above what it falls on.
    unevenness : float
        Standard deviation of ln(brightness) over the picture.
    bars : float
        Depth of the stripes of lamp bars, 0..1.
    tint_unevenness : float
        Standard deviation of ln(red/blue) over the picture (mixed light).
    """

    rgb: tuple[float, float, float]
    direct: float
    azimuth_deg: float
    elevation_deg: float
    penumbra: float
    unevenness: float
    bars: float
    tint_unevenness: float

    @property
    def towards(self) -> tuple[float, float, float]:
        """Unit vector from the scene to the direct light."""
        azimuth, elevation = np.deg2rad([self.azimuth_deg, self.elevation_deg])
        flat = np.cos(elevation)
        return float(flat * np.cos(azimuth)), float(flat * np.sin(azimuth)), float(np.sin(elevation))

    def shadow_offset_mm(self, height_mm: float) -> tuple[float, float]:
        """Where the shadow of something `height_mm` above a surface falls on it, relative to straight below."""
        x, y, z = self.towards
        return -x / z * height_mm, -y / z * height_mm


def kelvin_rgb(kelvin: float) -> tuple[float, float, float]:
    """Linear sRGB colour of a black body relative to 6500 K, mean 1.

    A rough power law fitted by eye: looks, not physics.
    """
    red, blue = (6500 / kelvin) ** 0.75, (kelvin / 6500) ** 0.9
    mean = (red + 1 + blue) / 3
    return red / mean, 1 / mean, blue / mean


def room_light(rng: np.random.Generator, *, even: bool = False) -> Light:
    """A random white light as found over trays: tubes, panels, windows."""
    spread = 0.3 if even else 1.0
    kelvin = rng.uniform(5200, 7200) if even else rng.choice([rng.uniform(2800, 9500), rng.uniform(4500, 7000)])
    return Light(
        rgb=kelvin_rgb(float(kelvin)),
        direct=float(rng.uniform(0.1, 0.45) if even else rng.uniform(0.1, 0.75)),
        azimuth_deg=float(rng.uniform(0, 360)),
        elevation_deg=float(rng.uniform(55, 85)),
        penumbra=float(rng.uniform(0.15, 0.6)),
        unevenness=float(rng.uniform(0, 0.35)) * spread,
        bars=0.0,
        tint_unevenness=float(rng.uniform(0, 0.12)) * spread,
    )


def purple_light(rng: np.random.Generator) -> Light:
    """Red and blue lamps with little green."""
    red, green, blue = rng.uniform(0.9, 1.9), rng.uniform(0.1, 0.4), rng.uniform(0.8, 1.7)
    return Light(
        rgb=(red, green, blue),
        direct=float(rng.uniform(0.1, 0.5)),
        azimuth_deg=float(rng.uniform(0, 360)),
        elevation_deg=float(rng.uniform(60, 85)),
        penumbra=float(rng.uniform(0.2, 0.6)),
        unevenness=float(rng.uniform(0.05, 0.3)),
        bars=0.0,
        tint_unevenness=float(rng.uniform(0, 0.15)),
    )


def side_light(rng: np.random.Generator) -> Light:
    """A low lamp or window: long shadows, one bright side."""
    return Light(
        rgb=kelvin_rgb(float(rng.uniform(3000, 7500))),
        direct=float(rng.uniform(0.55, 0.85)),
        azimuth_deg=float(rng.uniform(0, 360)),
        elevation_deg=float(rng.uniform(25, 48)),
        penumbra=float(rng.uniform(0.05, 0.3)),
        unevenness=float(rng.uniform(0.15, 0.45)),
        bars=0.0,
        tint_unevenness=float(rng.uniform(0, 0.15)),
    )


def lamp_bars(rng: np.random.Generator) -> Light:
    """Bars close above the tray: bright and dark stripes."""
    return Light(
        rgb=kelvin_rgb(float(rng.uniform(3500, 6500))),
        direct=float(rng.uniform(0.1, 0.4)),
        azimuth_deg=float(rng.uniform(0, 360)),
        elevation_deg=float(rng.uniform(60, 85)),
        penumbra=float(rng.uniform(0.3, 0.8)),
        unevenness=float(rng.uniform(0.05, 0.2)),
        bars=float(rng.uniform(0.2, 0.55)),
        tint_unevenness=float(rng.uniform(0, 0.1)),
    )


def brightness_field(light: Light, *, height_px: int, width_px: int, rng: np.random.Generator) -> Float32Array:
    """(height, width, 3) brightness of the light over the picture, median about 1 before its colour is applied."""
    small = (max(2, height_px // 16), max(2, width_px // 16))
    field = _smooth(rng, small, light.unevenness)[..., None].repeat(3, axis=2)
    tint = _smooth(rng, small, light.tint_unevenness)
    field[..., 0] += tint / 2
    field[..., 2] -= tint / 2
    if light.bars:
        angle, period, phase = rng.uniform(0, np.pi), rng.uniform(0.2, 0.5) * small[1], rng.uniform(0, 2 * np.pi)
        y, x = np.mgrid[0 : small[0], 0 : small[1]]
        wave = np.sin(2 * np.pi * (x * np.cos(angle) + y * np.sin(angle)) / period + phase)
        field += np.log(1 - light.bars * (0.5 + 0.5 * wave))[..., None]
    full = cv2.resize(np.exp(field).astype(np.float32), (width_px, height_px), interpolation=cv2.INTER_CUBIC)
    return np.asarray(full * np.asarray(light.rgb, np.float32), np.float32)


def _smooth(rng: np.random.Generator, shape: tuple[int, int], sd: float) -> NDArray[np.float64]:
    """A smooth random surface of three by three bumps with about the given standard deviation."""
    bumps = cv2.resize(rng.standard_normal((4, 4)), (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(sd * (bumps - np.median(bumps)))
