"""sRGB, linear light and CIELAB: conversions that every colour column rests on."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# IEC 61966-2-1: linear sRGB → CIE XYZ for D65, 2°; rows sum to the white point used below.
_XYZ_FROM_RGB = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_WHITE = _XYZ_FROM_RGB.sum(axis=1)
_LAB_EPSILON = 216 / 24389  # CIE 15:2004, exact fractions
_LAB_KAPPA = 24389 / 27


def srgb_to_linear(coded: ArrayLike) -> FloatArray:
    """Linear light from sRGB code values, both 0..1 (IEC 61966-2-1); any shape."""
    c = np.asarray(coded, dtype=np.float64)
    return np.where(c <= 0.04045, c / 12.92, ((np.maximum(c, 0.04045) + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(linear: ArrayLike) -> FloatArray:
    """sRGB code values from linear light, both 0..1 (IEC 61966-2-1); any shape."""
    c = np.asarray(linear, dtype=np.float64)
    return np.where(c <= 0.0031308, c * 12.92, 1.055 * np.maximum(c, 0.0031308) ** (1 / 2.4) - 0.055)


def srgb_to_lab(rgb: ArrayLike) -> FloatArray:
    """CIELAB of sRGB colours, white D65, 2° observer (CIE 15).

    Parameters
    ----------
    rgb : (..., 3) array
        Code values 0..255; 8-bit integers (fast) or floats.

    Returns
    -------
    lab : (..., 3) float array
        L* 0..100, a*, b*.
    """
    return linear_to_lab(codes_to_linear(rgb))


def codes_to_linear(rgb: ArrayLike) -> FloatArray:
    """Linear light 0..1 of sRGB code values 0..255; 8-bit integers (fast) or floats, any shape."""
    rgb = np.asarray(rgb)
    return _linear_of_codes(rgb) if rgb.dtype == np.uint8 else srgb_to_linear(rgb / 255.0)


def linear_to_lab(linear: ArrayLike) -> FloatArray:
    """CIELAB of linear sRGB colours, white D65, 2° observer (CIE 15); (..., 3) → (..., 3), any values."""
    f = _lab_curve(np.asarray(linear, np.float64) @ (_XYZ_FROM_RGB / _WHITE[:, None]).T)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def lab_to_linear(lab: ArrayLike) -> FloatArray:
    """Linear sRGB of CIELAB colours (white D65, 2°; CIE 15); colours outside sRGB come out below 0 or above 1."""
    lab = np.asarray(lab, dtype=np.float64)
    y = (lab[..., 0] + 16) / 116
    f = np.stack([y + lab[..., 1] / 500, y, y - lab[..., 2] / 200], axis=-1)
    ratio = np.where(f**3 > _LAB_EPSILON, f**3, (116 * f - 16) / _LAB_KAPPA)
    return np.asarray((ratio * _WHITE) @ np.linalg.inv(_XYZ_FROM_RGB).T)


def lightness(rgb: NDArray[np.uint8]) -> FloatArray:
    """CIELAB L* (0..100) alone of 8-bit sRGB colours; (..., 3) → (...)."""
    return np.asarray(116 * _lab_curve(_linear_of_codes(rgb) @ _XYZ_FROM_RGB[1]) - 16)


def lab_chroma(lab: ArrayLike) -> FloatArray:
    """CIELAB chroma C*, the distance from grey; (..., 3) → (...)."""
    lab = np.asarray(lab, dtype=np.float64)
    return np.asarray(np.hypot(lab[..., 1], lab[..., 2]))


def lab_hue_deg(lab: ArrayLike) -> FloatArray:
    """CIELAB hue angle in degrees, 0 ≤ h < 360 (0 for exact grey); (..., 3) → (...)."""
    lab = np.asarray(lab, dtype=np.float64)
    return np.asarray(np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360.0)


def ciede2000(lab1: ArrayLike, lab2: ArrayLike) -> FloatArray:
    """Colour difference CIEDE2000 of CIELAB colours (Sharma, Wu & Dalal 2005); (..., 3) each → (...)."""
    from skimage.color import deltaE_ciede2000  # here, because importing it costs more than most calls of this room

    difference = deltaE_ciede2000(np.asarray(lab1, np.float64), np.asarray(lab2, np.float64))  # type: ignore[no-untyped-call]
    return np.asarray(difference, dtype=np.float64)


def circular_mean_deg(angles_deg: ArrayLike) -> float:
    """Mean direction of angles, atan2 of mean sine and mean cosine, 0 ≤ mean < 360.

    NaN are left out; NaN for no angles, and where they cancel (no mean direction).
    """
    angles = np.asarray(angles_deg, dtype=np.float64).ravel()
    angles = np.radians(angles[~np.isnan(angles)])
    if angles.size == 0:
        return float("nan")
    return float(mean_direction_deg(np.array(np.sin(angles).mean()), np.array(np.cos(angles).mean())))


def mean_direction_deg(mean_sine: FloatArray, mean_cosine: FloatArray) -> FloatArray:
    """Direction (degrees, 0 ≤ d < 360) of mean sines and cosines; NaN where both vanish."""
    direction = np.degrees(np.arctan2(mean_sine, mean_cosine)) % 360.0
    # −0.0000001° becomes 360 by rounding: same direction, told as 0. Sums of sines are exact to about 1e-12.
    direction = np.where(direction >= 360.0 - 1e-9, 0.0, direction)
    return np.where(np.hypot(mean_sine, mean_cosine) > 1e-12, direction, np.nan)


def _lab_curve(ratio: FloatArray) -> FloatArray:
    curve = np.cbrt(ratio)
    low = ratio <= _LAB_EPSILON
    curve[low] = (_LAB_KAPPA * ratio[low] + 16) / 116
    return curve


def _linear_of_codes(codes: NDArray[np.uint8]) -> FloatArray:
    # By OpenCV, which looks up bytes in an eighth of numpy's time, but not none of them.
    if not codes.size:
        return np.zeros(codes.shape)
    return np.asarray(cv2.LUT(codes.reshape(1, -1), _linear_table()), np.float64).reshape(codes.shape)


@cache
def _linear_table() -> FloatArray:
    """(1, 256) linear light of each code value."""
    return srgb_to_linear(np.arange(256) / 255.0).reshape(1, 256)
