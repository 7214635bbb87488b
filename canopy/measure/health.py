"""Colour of each plant: indices, CIELAB, yellow and brown shares, texture. Signs to look at, never a diagnosis."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.measure import indices
from canopy.measure.colour import (
    lab_chroma,
    lab_hue_deg,
    lightness,
    linear_to_lab,
    linear_to_srgb,
    mean_direction_deg,
    srgb_to_lab,
)
from canopy.measure.medians import group_medians
from canopy.measure.pixels import PlantPixels, group_sums
from canopy.measure.relight import Relight
from canopy.measure.shape import LabelImage
from canopy.settings.measure import ColourSettings
from canopy.tray.rectify import Rectified
from canopy.tray.resample import shrunk

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


def plant_colours(
    rgb: NDArray[np.uint8], pixels: PlantPixels, *, settings: ColourSettings, light: Relight | None = None
) -> dict[str, FloatArray]:
    """Colour columns of each plant from its inner pixels.

    An index is computed per pixel and its median taken; hue is the circular mean; L*, a*, b* are means.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray, sRGB
    pixels : PlantPixels
    settings : ColourSettings
    light : Relight, optional
        Takes the light's colour and unevenness out first.

    Returns
    -------
    dict of column name to (cells,) float array
        `exg, ngrdi, gli, dgci, hue_deg, yellow_fraction, brown_fraction, l_star, a_star, b_star`; NaN without canopy.
    """
    chosen, bounds = colour_sample(pixels, settings=settings)
    light, at = light or Relight(), pixels.flat.take(chosen)
    codes, lab = _codes_and_lab(rgb, at, light)
    ratios = codes if light.field is None else light.codes(rgb, at, brightness=False)
    dgci = indices.dgci(codes)
    per_pixel = np.stack([indices.exg(ratios), indices.ngrdi(ratios), indices.gli(ratios), dgci])
    exg, ngrdi, gli, dgci_median = group_medians(per_pixel, bounds)
    dgci_valid = _means([(~np.isnan(dgci)).astype(np.float64)], bounds)[0]
    columns = {"exg": exg, "ngrdi": ngrdi, "gli": gli}
    columns["dgci"] = np.where(dgci_valid >= settings.dgci_valid_min, dgci_median, np.nan)
    return columns | _lab_columns(lab, bounds, settings=settings)


def _codes_and_lab(
    rgb: NDArray[np.uint8], at: IntArray, light: Relight
) -> tuple[NDArray[np.uint8] | FloatArray, FloatArray]:
    """sRGB codes and CIELAB of pixels in even white light."""
    if light.changes_nothing:
        codes = light.codes(rgb, at)
        return codes, srgb_to_lab(codes)
    linear = light.linear(rgb, at)
    return np.asarray(255 * linear_to_srgb(linear)), linear_to_lab(linear)


def _lab_columns(lab: FloatArray, bounds: IntArray, *, settings: ColourSettings) -> dict[str, FloatArray]:
    l_star, hue, chroma = lab[:, 0], lab_hue_deg(lab), lab_chroma(lab)
    yellow = _is_yellow(l_star, chroma, hue, settings=settings)
    brown = _is_brown(l_star, chroma, hue, settings=settings)
    # Sine and cosine of the hue angle, which is 0 for exact grey.
    sine = np.divide(lab[:, 2], chroma, out=np.zeros_like(chroma), where=chroma > 0)
    cosine = np.divide(lab[:, 1], chroma, out=np.ones_like(chroma), where=chroma > 0)
    names = ("l_star", "a_star", "b_star", "yellow_fraction", "brown_fraction", "sine", "cosine")
    columns = dict(zip(names, _means([*lab.T, yellow, brown, sine, cosine], bounds), strict=True))
    columns["hue_deg"] = mean_direction_deg(columns.pop("sine"), columns.pop("cosine"))
    return columns


def colour_sample(pixels: PlantPixels, *, settings: ColourSettings) -> tuple[IntArray, IntArray]:
    """Positions in `pixels` from which colour is read, grouped by cell, and the (cells + 1,) bounds of the groups.

    Inner pixels only, because edge pixels mix with the ground; those that are half plant when a plant has few; for tiny
    plants all. Large plants are first thinned evenly so that the tray's total stays near the settings' limit.
    """
    counts = np.diff(pixels.bounds)
    each = max(settings.interior_min_px, settings.pixels_per_tray // max(1, int((counts > 0).sum())))
    steps = np.maximum(1, -(-counts // each))
    thinned = np.concatenate(
        [np.arange(pixels.bounds[c], pixels.bounds[c + 1], steps[c]) for c in range(pixels.cells)], dtype=np.intp
    )
    cell = np.repeat(np.arange(pixels.cells), -(-counts // steps))
    cover = pixels.cover[thinned]
    inner, half = cover >= settings.interior_cover, cover >= 0.5
    few = np.bincount(cell[inner], minlength=pixels.cells) < settings.interior_min_px
    none = np.bincount(cell[half], minlength=pixels.cells) == 0
    used = inner | (half & few[cell]) | none[cell]
    bounds = np.concatenate([[0], np.cumsum(np.bincount(cell[used], minlength=pixels.cells))]).astype(np.intp)
    return thinned[used], bounds


def plant_texture(rectified: Rectified, labels: LabelImage, *, cells: int, settings: ColourSettings) -> FloatArray:
    """Mean local standard deviation of L* inside each plant on a grid of fixed millimetres, (cells,).

    NaN for plants too small to hold a whole window and for photos coarser than the grid.
    """
    shrink = rectified.mm_per_px / settings.texture_mm
    size = (round(rectified.rgb.shape[1] * shrink), round(rectified.rgb.shape[0] * shrink))
    window = settings.texture_window
    if shrink > 1 or min(size) <= window:
        return np.full(cells, np.nan)
    owner = np.asarray(cv2.resize(labels, size, interpolation=cv2.INTER_NEAREST), dtype=np.uint16)
    plants = np.flatnonzero(owner > 0)
    light = np.zeros(owner.size, np.float32)  # of plants only: windows that reach beyond do not count
    light[plants] = lightness(shrunk(rectified.rgb, *size).reshape(-1, 3).take(plants, axis=0))
    # One step wider than the window: the steps along a leaf's edge mix with the ground.
    whole = np.ones((window + 2, window + 2), np.uint8)
    at = np.flatnonzero((cv2.erode(owner, whole) == cv2.dilate(owner, whole)) & (owner > 0))
    cell = owner.ravel().take(at).astype(np.intp) - 1
    count = np.bincount(cell, minlength=cells)
    about = float(light.sum(dtype=np.float64)) / max(1, plants.size)
    spread = _local_sd(light.reshape(owner.shape), at, window=window, about=about)
    sums = np.bincount(cell, weights=spread, minlength=cells)
    return np.asarray(np.divide(sums, count, out=np.full(cells, np.nan), where=count > 0))


def _local_sd(values: NDArray[np.float32], at: IntArray, *, window: int, about: float) -> NDArray[np.float32]:
    """Standard deviation (divisor n) in a square window round places of flat index `at`; values lie near `about`."""
    # Centred first: the difference of squares below then loses few digits.
    centred = values - np.float32(about)
    means = (np.asarray(cv2.blur(x, (window, window)), np.float32) for x in (centred, centred * centred))
    first, second = (mean.ravel().take(at) for mean in means)
    return np.asarray(np.sqrt(np.maximum(second - first * first, 0)))


def _is_yellow(l_star: FloatArray, chroma: FloatArray, hue: FloatArray, *, settings: ColourSettings) -> FloatArray:
    return (
        (hue >= settings.yellow_hue_low_deg)
        & (hue <= settings.yellow_hue_high_deg)
        & (chroma >= settings.yellow_chroma_min)
        & (l_star >= settings.yellow_lightness_min)
    ).astype(np.float64)


def _is_brown(l_star: FloatArray, chroma: FloatArray, hue: FloatArray, *, settings: ColourSettings) -> FloatArray:
    return (
        (hue >= settings.brown_hue_low_deg)
        & (hue < settings.brown_hue_high_deg)
        & (chroma >= settings.brown_chroma_min)
        & (chroma <= settings.brown_chroma_max)
        & (l_star <= settings.brown_lightness_max)
    ).astype(np.float64)


def _means(per_pixel: list[FloatArray], bounds: IntArray) -> FloatArray:
    count = np.diff(bounds)
    sums = np.stack([group_sums(values, bounds) for values in per_pixel])
    return np.asarray(np.divide(sums, count, out=np.full(sums.shape, np.nan), where=count > 0))
