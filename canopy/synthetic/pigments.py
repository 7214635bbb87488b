"""Colours of painted things: linear-light reflectance with sRGB primaries."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.synthetic.noise import FloatArray, Raster

DARKEST = 0.004  # black velvet; nothing reflects less
MOST_GREEN_OF_RED = 0.8  # straw has 0.75, living leaves more than 1
BRIGHTEST = 0.92  # fresh white paint; nothing reflects more


def linear(colour: str) -> FloatArray:
    """Linear-light colour of an sRGB hex triplet such as `#7a5c3e` (IEC 61966-2-1)."""
    encoded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], np.float32) / np.float32(255)
    decoded = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    return decoded.astype(np.float32)


def vary(colour: str | FloatArray, rng: np.random.Generator, *, light: float = 0.25, tint: float = 0.06) -> FloatArray:
    """A colour near a given one: overall lightness by a factor exp(±light), each channel by exp(±tint) (1 sigma)."""
    base = linear(colour) if isinstance(colour, str) else colour
    factor = np.exp(light * rng.standard_normal() + tint * rng.standard_normal(3))
    return np.clip(base * factor, DARKEST, BRIGHTEST).astype(np.float32)


def choose(colours: tuple[str, ...], rng: np.random.Generator, *, light: float = 0.2, tint: float = 0.06) -> FloatArray:
    """One of several colours, varied."""
    return vary(colours[int(rng.integers(len(colours)))], rng, light=light, tint=tint)


def withered(albedo: FloatArray) -> FloatArray:
    """Dead plant matter: green held below red, so that no chance tint brings a dry leaf back to life."""
    dead = albedo.copy()
    dead[..., 1] = np.minimum(dead[..., 1], MOST_GREEN_OF_RED * dead[..., 0])
    return dead


def hue_colour(hue: float, saturation: float, value: float) -> FloatArray:
    """Linear-light colour of hue 0..1 (0 red, 1/3 green, 2/3 blue), saturation 0..1 and largest channel `value`."""
    k = (np.array([5.0, 3.0, 1.0]) + 6 * hue) % 6
    rgb = value * (1 - saturation * np.clip(np.minimum(k, 4 - k), 0, 1))
    return rgb.astype(np.float32)


def flat(shape: tuple[int, int], colour: FloatArray) -> FloatArray:
    """(H, W, 3) of one colour."""
    return np.broadcast_to(colour, (*shape, 3)).astype(np.float32)


def ramp(position: FloatArray, colours: list[FloatArray] | NDArray[np.float32]) -> FloatArray:
    """Colour of each pixel along an even ramp of colours; position 0 is the first, 1 the last, outside is held.

    A table of 512 steps is looked up: finer than an 8-bit photo can show.
    """
    steps = 512
    stops = np.asarray(colours, np.float32)
    at = np.linspace(0, len(stops) - 1, steps)
    table = np.stack([np.interp(at, np.arange(len(stops)), stops[:, c]) for c in range(3)], axis=1).astype(np.float32)
    scaled = position * np.float32(steps - 1)
    index = np.clip(scaled, 0, steps - 1, out=scaled).astype(np.intp)
    return table.take(index, axis=0)


def blend(under: FloatArray, over: FloatArray, weight: FloatArray) -> FloatArray:
    """`under` where weight is 0, `over` (one colour or a picture) where it is 1."""
    mixed = over - under
    mixed *= _thrice(weight)
    mixed += under
    return mixed


def tint_by(albedo: FloatArray, factor: FloatArray) -> FloatArray:
    """Picture times a (H, W) factor, kept physical."""
    tinted = albedo * _thrice(factor)
    np.clip(tinted, 0, 1, out=tinted)
    return tinted


def toned(raster: Raster, colour: FloatArray, factor: FloatArray) -> FloatArray:
    """A raster of one colour times a (H, W) factor."""
    return tint_by(flat(raster.shape, colour), factor)


def _thrice(field: FloatArray) -> FloatArray:
    """(H, W, 3) with the field in each channel: numpy's own broadcast over a last axis of 3 is four times slower."""
    field = field.astype(np.float32, copy=False)
    return np.asarray(cv2.merge((field, field, field)), np.float32)
