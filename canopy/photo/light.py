"""What light a photo was taken in: white, purple grow light, coloured, too dark; and what is clipped."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.settings import PhotoSettings


def clipped_share(rgb: NDArray[np.uint8], mask: NDArray[np.bool_] | None = None, *, settings: PhotoSettings) -> float:
    """Share of pixels, 0..1, that have lost their colour: a channel at the top, or all channels at the bottom.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
        sRGB code values.
    mask : (M, N) bool ndarray, optional
        Pixels to look at, such as those of the plants; all without it. 0 when it is empty.
    settings : PhotoSettings
        `clipped_code` and `black_code`.
    """
    pixels = _sample(rgb, settings)
    if mask is not None:
        # A few hundred thousand pixels tell a share to a tenth of a percent; a plant-free photo has none either way.
        step = _step(rgb, settings)
        pixels = pixels.take(np.flatnonzero(mask[::step, ::step]), axis=0)
    if not len(pixels):
        return 0.0
    red, green, blue = pixels.T  # compared with one another as whole lists: many times faster than along the short axis
    most = np.maximum(np.maximum(red, green), blue)
    return float(((most >= settings.clipped_code) | (most <= settings.black_code)).mean())


def light_kind(rgb: NDArray[np.uint8], *, plants: NDArray[np.bool_] | None = None, settings: PhotoSettings) -> str:
    """Name the light: `white`, `purple`, `coloured` or `dark`.

    - `dark`: 90 % of the pixels are below `dark_code`.
    - `purple`: even the greenest tenth of the bright pixels has a low G/(R + B) (a grey thing in white light has 0.5,
      leaves more): red and blue lamps give no green for anything to reflect.
    - `coloured`: enough bright pixels that are not plant are close to grey, and their median colour is not grey.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
        sRGB code values.
    plants : (M, N) bool ndarray, optional
        Plant pixels. Over dark medium leaves are the brightest there is; they are green in any light.
    settings : PhotoSettings
    """
    pixels = _sample(rgb, settings)
    total = _total(pixels)
    if code_quantile(total, 0.9) / 3 < settings.dark_code:
        return "dark"
    bright = _brightest(pixels, total, settings)
    if _green_ratio(bright, settings) < settings.purple_green_ratio:
        return "purple"
    chroma = _ground_chroma(pixels, plants, _step(rgb, settings), settings)
    return "coloured" if chroma is not None and chroma > settings.cast_chroma else "white"


def green_ratio(rgb: NDArray[np.uint8], *, settings: PhotoSettings) -> float:
    """G/(R + B) that nine tenths of the bright pixels stay below; 0.5 for grey, infinite for pure green."""
    pixels = _sample(rgb, settings)
    return _green_ratio(_brightest(pixels, _total(pixels), settings), settings)


def cast_chroma(
    rgb: NDArray[np.uint8], *, plants: NDArray[np.bool_] | None = None, settings: PhotoSettings
) -> float | None:
    """CIELAB chroma (D65) of the median near-neutral bright pixel; None when hardly any pixel is near neutral.

    Pixels marked in `plants` are left out.
    """
    return _ground_chroma(_sample(rgb, settings), plants, _step(rgb, settings), settings)


def code_quantile(codes: NDArray[np.integer[Any]], share: float) -> float:
    """Quantile, as `numpy.quantile` has it, of whole numbers from 0: counted, which takes a tenth of sorting."""
    upto = np.cumsum(np.bincount(codes.ravel()))
    whole, part = divmod(share * (codes.size - 1), 1)
    low, high = np.searchsorted(upto, [whole, min(whole + 1, codes.size - 1)], side="right")
    return float(low + part * (high - low))


def _ground_chroma(
    pixels: NDArray[np.uint8], plants: NDArray[np.bool_] | None, step: int, settings: PhotoSettings
) -> float | None:
    if plants is not None:
        pixels = pixels.take(np.flatnonzero(~plants[::step, ::step]), axis=0)
    if not len(pixels):
        return None
    return _cast_chroma(_brightest(pixels, _total(pixels), settings), settings)


def _green_ratio(bright: NDArray[np.uint8], settings: PhotoSettings) -> float:
    red, green, blue = bright.T.astype(np.float64)
    return float(np.quantile(green / np.maximum(red + blue, 1e-9), settings.purple_quantile))


def _cast_chroma(bright: NDArray[np.uint8], settings: PhotoSettings) -> float | None:
    lab = np.asarray(cv2.cvtColor((bright.astype(np.float32) / 255)[None], cv2.COLOR_RGB2LAB))[0]
    neutral = np.hypot(lab[:, 1], lab[:, 2]) < settings.neutral_chroma
    if neutral.mean() < settings.neutral_share:
        return None
    return math.hypot(float(np.median(lab[neutral, 1])), float(np.median(lab[neutral, 2])))


def _sample(rgb: NDArray[np.uint8], settings: PhotoSettings) -> NDArray[np.uint8]:
    """An even sample of the pixels, (n, 3)."""
    step = _step(rgb, settings)
    return rgb[::step, ::step].reshape(-1, 3)


def _step(rgb: NDArray[np.uint8], settings: PhotoSettings) -> int:
    return max(1, int(math.sqrt(rgb.shape[0] * rgb.shape[1] / settings.light_sample_px)))


def _total(pixels: NDArray[np.uint8]) -> NDArray[np.uint16]:
    """R + G + B of each pixel; added channel by channel, which is many times faster than along the short axis."""
    total = pixels[:, 0].astype(np.uint16)
    total += pixels[:, 1]
    total += pixels[:, 2]
    return total


def _brightest(pixels: NDArray[np.uint8], total: NDArray[np.uint16], settings: PhotoSettings) -> NDArray[np.uint8]:
    return np.asarray(pixels[total >= code_quantile(total, 1 - settings.bright_share)], np.uint8)
