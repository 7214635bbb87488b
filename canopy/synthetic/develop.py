"""What a camera makes of light: blur, vignetting, exposure, white balance, noise, clipping, tone curve, sharpening."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Float32Array = NDArray[np.float32]
UInt8Array = NDArray[np.uint8]


@dataclass(frozen=True)
class Look:
    """How one camera develops one picture.

    Attributes
    ----------
    defocus_px, motion_px, motion_deg : float
        Gaussian standard deviation of the lens blur; length and direction of camera shake.
    vignetting : float
        Loss of light in the corners, 0..1.
    grey : float
        Linear level at which the picture's mean is put (0.18 = neutral exposure).
    balance : tuple of float
        Gains of red, green, blue that are left uncorrected (wrong white balance).
    crosstalk : float
        Mixing of neighbouring colour channels by the sensor, 0..0.3.
    noise : float
        Standard deviation of shot noise at full scale, linear.
    gamma, contrast, saturation, sharpening : float
        Tone curve exponent (2.2 ≈ sRGB), S-curve strength, colour boost (1 = none), unsharp amount.
    haze : float
        Stray light added everywhere, linear.
    chromatic_px : float
        Red–blue shift in the corners.
    """

    defocus_px: float
    motion_px: float
    motion_deg: float
    vignetting: float
    grey: float
    balance: tuple[float, float, float]
    crosstalk: float
    noise: float
    gamma: float
    contrast: float
    saturation: float
    sharpening: float
    haze: float
    chromatic_px: float


def everyday_look(rng: np.random.Generator, *, hard: bool = True) -> Look:
    """A random but usable picture; `hard` widens every fault."""
    spread = 1.0 if hard else 0.35
    return Look(
        defocus_px=float(rng.gamma(2.0, 0.3)) * (1 if hard else 0.7),
        motion_px=float(rng.choice([0.0, rng.uniform(0, 3)], p=[0.7, 0.3])) * spread,
        motion_deg=float(rng.uniform(0, 180)),
        vignetting=float(rng.uniform(0, 0.4)) * spread,
        grey=float(np.clip(0.18 * np.exp(rng.normal(0, 0.5 * spread)), 0.04, 0.5)),
        balance=(float(np.exp(rng.normal(0, 0.16 * spread))), 1.0, float(np.exp(rng.normal(0, 0.16 * spread)))),
        crosstalk=float(rng.uniform(0, 0.2)) * spread,
        noise=float(rng.gamma(1.5, 0.008)) * (1.0 if hard else 0.6),
        gamma=float(2.2 + rng.normal(0, 0.2 * spread)),
        contrast=float(rng.uniform(-0.15, 0.6)) * spread,
        saturation=float(np.exp(rng.normal(0.05, 0.22 * spread))),
        sharpening=float(rng.choice([0.0, rng.uniform(0, 1.2)])) * spread,
        haze=float(rng.exponential(0.01)) * spread,
        chromatic_px=float(rng.exponential(0.4)) * spread,
    )


def develop(radiance: Float32Array, look: Look, *, rng: np.random.Generator) -> UInt8Array:
    """Linear light (M, N, 3) → sRGB-like code values (M, N, 3) uint8, the input is not changed."""
    light = _lens(radiance, look)
    light *= look.grey / max(float(light.mean()), 1e-6)
    light = light @ _crosstalk(look.crosstalk) * np.asarray(look.balance, np.float32) + np.float32(look.haze)
    light += rng.standard_normal(light.shape, dtype=np.float32) * (
        np.float32(look.noise) * np.sqrt(np.maximum(light, 0) + np.float32(0.003))
    )
    np.clip(light, 0, 1, out=light)
    code = _tone(light, look)
    if look.sharpening:
        code += np.float32(look.sharpening) * (code - cv2.GaussianBlur(code, (0, 0), 1.2))
    return np.asarray(np.clip(code * 255 + np.float32(0.5), 0, 255), np.uint8)


def _lens(radiance: Float32Array, look: Look) -> Float32Array:
    """Blur, shake, colour fringes and vignetting."""
    light = cv2.GaussianBlur(radiance, (0, 0), look.defocus_px) if look.defocus_px > 0.2 else radiance.copy()
    if look.motion_px > 0.5:
        light = cv2.filter2D(light, -1, _shake_kernel(look.motion_px, look.motion_deg))
    height, width = light.shape[:2]
    if look.chromatic_px > 0.2:
        grow = look.chromatic_px / (np.hypot(height, width) / 2)
        for channel, sign in ((0, 1), (2, -1)):
            scale = 1 + sign * grow
            matrix = np.array([[scale, 0, (1 - scale) * width / 2], [0, scale, (1 - scale) * height / 2]])
            light[..., channel] = cv2.warpAffine(
                np.ascontiguousarray(light[..., channel]), matrix, (width, height), borderMode=cv2.BORDER_REPLICATE
            )
    y = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, width, dtype=np.float32)[None, :]
    light *= (1 - np.float32(look.vignetting) * (x * x + y * y) / 2)[..., None]
    return np.asarray(light, np.float32)


def _shake_kernel(length_px: float, direction_deg: float) -> Float32Array:
    """A line kernel of the given length, antialiased."""
    size = int(np.ceil(length_px)) | 1
    size += 2
    fine = 8
    canvas = np.zeros((size * fine, size * fine), np.float32)
    middle = np.array([size * fine / 2, size * fine / 2])
    reach = length_px * fine / 2 * np.array([np.cos(np.deg2rad(direction_deg)), np.sin(np.deg2rad(direction_deg))])
    start, end = np.round(middle - reach).astype(int), np.round(middle + reach).astype(int)
    cv2.line(canvas, (int(start[0]), int(start[1])), (int(end[0]), int(end[1])), 1.0, fine)
    kernel = cv2.resize(canvas, (size, size), interpolation=cv2.INTER_AREA)
    return np.asarray(kernel / kernel.sum(), np.float32)


def _crosstalk(amount: float) -> Float32Array:
    """Channel mixing matrix with rows that sum to one (white stays white)."""
    a = np.float32(amount)
    return np.asarray([[1 - a, a * 0.7, a * 0.3], [a * 0.5, 1 - a, a * 0.5], [a * 0.3, a * 0.7, 1 - a]], np.float32).T


def _tone(light: Float32Array, look: Look) -> Float32Array:
    """Gamma, S-curve and saturation by look-up table, 0..1 → 0..1."""
    levels = np.linspace(0, 1, 4096, dtype=np.float32)
    curve = levels ** (1 / look.gamma)
    curve += look.contrast * 0.25 * np.sin(2 * np.pi * (curve - 0.5)) / np.pi * 2
    table = np.clip(curve, 0, 1).astype(np.float32)
    code = table[(light * 4095).astype(np.uint16)]
    if look.saturation != 1:
        grey = code @ np.asarray([0.299, 0.587, 0.114], np.float32)
        code = grey[..., None] + np.float32(look.saturation) * (code - grey[..., None])
    return np.asarray(code, np.float32)
