"""Colour indices of plants, by their published definitions.

Every function takes (..., 3) sRGB code values 0..255 (integers or floats) and returns (...) floats; a black pixel has
no chromaticity and gives NaN, silently. The definitions were published for code values of cameras, so code values go
in, not linear light. r, g, b below stand for R/(R+G+B) and so on.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from canopy.measure.colour import (
    FloatArray,
    ciede2000,
    circular_mean_deg,
    lab_chroma,
    lab_hue_deg,
    linear_to_srgb,
    srgb_to_lab,
    srgb_to_linear,
)

__all__ = [
    "chromaticity",
    "ciede2000",
    "circular_mean_deg",
    "cive",
    "correct_by_discs",
    "dgci",
    "exg",
    "exgr",
    "exr",
    "gcc",
    "gli",
    "hsv_hue_deg",
    "lab_chroma",
    "lab_hue_deg",
    "linear_to_srgb",
    "mexg",
    "ndai",
    "ngrdi",
    "srgb_to_lab",
    "srgb_to_linear",
    "tgi",
    "vari",
    "veg",
]


def chromaticity(rgb: ArrayLike) -> FloatArray:
    """r, g, b = shares of R, G, B in their sum; (..., 3) → (..., 3), NaN for black."""
    rgb = np.asarray(rgb, dtype=np.float64)
    return _ratio(rgb, rgb.sum(axis=-1, keepdims=True))


def exg(rgb: ArrayLike) -> FloatArray:
    """Excess green 2g − r − b, −1..2 (Woebbecke et al. 1995, Trans. ASAE 38(1):259–269)."""
    R, G, B = _channels(rgb)
    return _ratio(2 * G - R - B, R + G + B)


def exr(rgb: ArrayLike) -> FloatArray:
    """Excess red 1.4r − g, −1..1.4 (Meyer & Neto 2008, Comput. Electron. Agric. 63:282–293)."""
    R, G, B = _channels(rgb)
    return _ratio(1.4 * R - G, R + G + B)


def exgr(rgb: ArrayLike) -> FloatArray:
    """Excess green minus excess red, 3g − 2.4r − b (Meyer & Neto 2008); plant where above 0."""
    return exg(rgb) - exr(rgb)


def cive(rgb: ArrayLike) -> FloatArray:
    """Colour index of vegetation extraction, 0.441R − 0.811G + 0.385B + 18.78745 (Kataoka et al. 2003).

    Low values are plant. Scaled to 0..255 code values: on r, g, b the constant would swamp it.
    """
    R, G, B = _channels(rgb)
    return np.where(R + G + B > 0, 0.441 * R - 0.811 * G + 0.385 * B + 18.78745, np.nan)


def ngrdi(rgb: ArrayLike) -> FloatArray:
    """Normalised green–red difference (G − R)/(G + R), −1..1 (Hunt et al. 2005); yellow ≈ 0, red leaves below 0."""
    R, G, _ = _channels(rgb)
    return _ratio(G - R, G + R)


def ndai(rgb: ArrayLike) -> FloatArray:
    """Normalised difference anthocyanin index (R − G)/(R + G) = −NGRDI (Kim & van Iersel 2023, 14:1155722)."""
    return -ngrdi(rgb)


def gli(rgb: ArrayLike) -> FloatArray:
    """Green leaf index (2G − R − B)/(2G + R + B), −1..1 (Louhaichi et al. 2001)."""
    R, G, B = _channels(rgb)
    return _ratio(2 * G - R - B, 2 * G + R + B)


def vari(rgb: ArrayLike) -> FloatArray:
    """Visible atmospherically resistant index (G − R)/(G + R − B) (Gitelson et al. 2002).

    Unbounded near G + R = B, and NaN there.
    """
    R, G, B = _channels(rgb)
    return _ratio(G - R, G + R - B)


def tgi(rgb: ArrayLike) -> FloatArray:
    """Triangular greenness index −0.5[190(R − G) − 120(R − B)] on code values (Hunt et al. 2011, Agron. J. 103:1090).

    190 and 120 are the distances of its wavelengths (670, 550, 480 nm). It does not tell yellow from green leaves.
    """
    R, G, B = _channels(rgb)
    return np.where(R + G + B > 0, -0.5 * (190 * (R - G) - 120 * (R - B)), np.nan)


def mexg(rgb: ArrayLike) -> FloatArray:
    """Modified excess green 1.262g − 0.884r − 0.311b (Burgos-Artizzu et al. 2011); grey gives 0.0223, not 0."""
    R, G, B = _channels(rgb)
    return _ratio(1.262 * G - 0.884 * R - 0.311 * B, R + G + B)


def veg(rgb: ArrayLike) -> FloatArray:
    """Vegetative index g/(r^0.667 · b^0.333) (Hague et al. 2006); a code value 0 of R or B is taken as 1."""
    R, G, B = _channels(rgb)
    return np.where(R + G + B > 0, G / (np.maximum(R, 1.0) ** 0.667 * np.maximum(B, 1.0) ** 0.333), np.nan)


def gcc(rgb: ArrayLike) -> FloatArray:
    """Green chromatic coordinate G/(R + G + B), 0..1 (Gillespie et al. 1987; Woebbecke et al. 1995)."""
    R, G, B = _channels(rgb)
    return _ratio(G, R + G + B)


def hsv_hue_deg(rgb: ArrayLike) -> FloatArray:
    """Hue of the HSV hexcone in degrees, 0 ≤ H < 360; NaN for greys (and black)."""
    R, G, B = _channels(rgb)
    top = np.maximum(np.maximum(R, G), B)
    spread = top - np.minimum(np.minimum(R, G), B)
    sector = np.where(top == R, (G - B), np.where(top == G, B - R, R - G))
    offset = np.where(top == R, 0.0, np.where(top == G, 120.0, 240.0))
    return (_ratio(60.0 * sector, spread) + offset) % 360.0


def dgci(rgb: ArrayLike) -> FloatArray:
    """Dark green colour index [(H − 60)/60 + (1 − S) + (1 − V)]/3, 0..1 (Karcher & Richardson 2003, Crop Sci. 43:943).

    NaN where the hue lies outside 60°..120°, for which it is not defined (red, brown, blue-green, grey).
    """
    R, G, B = _channels(rgb)
    # Between 60° and 120° green is the greatest and blue the least channel: H = 60 + 60(G − R)/(G − B), V = G/255.
    spread = np.where((G >= R) & (R >= B), G - B, 0.0)
    return (_ratio(G - R, spread) + (1.0 - _ratio(spread, G)) + (1.0 - G / 255.0)) / 3.0


def correct_by_discs(index: ArrayLike, *, observed: tuple[float, float], known: tuple[float, float]) -> FloatArray:
    """Index put on the scale of a card: straight line through two known discs (method of Rorie et al. 2011)."""
    if observed[0] == observed[1]:
        raise ValueError(f"observed: both discs read {observed[0]:g}; two discs of different colour are needed")
    slope = (known[1] - known[0]) / (observed[1] - observed[0])
    return known[0] + (np.asarray(index, dtype=np.float64) - observed[0]) * slope


def _channels(rgb: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
    rgb = np.asarray(rgb)
    if rgb.shape[-1:] != (3,):
        raise ValueError(f"rgb: got shape {rgb.shape}; the last axis must hold R, G, B")
    return rgb[..., 0].astype(np.float64), rgb[..., 1].astype(np.float64), rgb[..., 2].astype(np.float64)


def _ratio(numerator: FloatArray, denominator: FloatArray) -> FloatArray:
    empty = np.full(np.broadcast_shapes(numerator.shape, denominator.shape), np.nan)
    return np.asarray(np.divide(numerator, denominator, out=empty, where=denominator != 0))
