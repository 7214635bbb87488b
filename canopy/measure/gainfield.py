"""Uneven light over a tray, from what repeats from cell to cell.

Like parts of all cells (the rim at a cell's left edge, say) are made of one material, so that what differs between them
is light: ln(seen) = ln(material of this part of a cell) + smooth field over the tray, fitted together, robustly, on
ground that is clear of plants. Lamp bars, a window on one side and lamps of two colours come out; what repeats with the
cells (walls, their shade) does not enter the field.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.measure.colour import FloatArray, codes_to_linear
from canopy.records import Layout
from canopy.segment.result import Segmentation
from canopy.settings.light import GainSettings
from canopy.tray.rectify import Rectified

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

_ROUNDS = 3
_DARKEST = 1e-4  # linear light below the first 8-bit code; keeps the logarithm finite


@dataclass(frozen=True)
class GainField:
    """ln of the light over the tray, relative to its mean, as cosines of whole half waves along both sides.

    Attributes
    ----------
    waves : (k, 2) ndarray
        Half waves along width and height of each term, none for both zero.
    terms : (k, 3) ndarray
        Amplitude of each term for R, G, B; zero where the colour of the light is not told.
    width_mm, height_mm : float
        Of the outline.
    explained : float
        Share of the ground's unevenness that fits to one half of the cells foretold in the other.
    spread : float
        Standard deviation over the tray of ln brightness.
    """

    waves: FloatArray
    terms: FloatArray
    width_mm: float
    height_mm: float
    explained: float
    spread: float

    def ln_gain(self, points_mm: FloatArray) -> FloatArray:
        """(n, 3) ln of the light at places, R, G, B; beyond the outline as at its edge."""
        return np.asarray(_cosines(points_mm, self.waves, self.width_mm, self.height_mm) @ self.terms)


@dataclass(frozen=True)
class _Parts:
    """Clear parts of cells.

    Attributes
    ----------
    ln_colour : (n, 3) ndarray
        ln of their mean linear light.
    at_mm : (n, 2) ndarray
    alike : (m, n) ndarray
        1 where a part of some cell is the m-th of the parts that repeat from cell to cell, else 0.
    half : (n,) ndarray
        On which half of a chequerboard of cells.
    """

    ln_colour: FloatArray
    at_mm: FloatArray
    alike: FloatArray
    half: IntArray


def fit_gain_field(
    rectified: Rectified, segmentation: Segmentation, layout: Layout, *, settings: GainSettings
) -> GainField | None:
    """The field of uneven light; None when too little ground is seen, or no smooth field explains what differs.

    Parameters
    ----------
    rectified : Rectified
    segmentation : Segmentation
        Of the same raster.
    layout : Layout
    settings : GainSettings
    """
    if not settings.enabled:
        return None
    parts = _clear_parts(rectified, segmentation, layout, settings)
    if len(parts.half) < settings.bins_min:
        return None
    sides = (layout.outline_width_mm, layout.outline_height_mm)
    waves = _waves(settings.waves, *sides)
    basis = _cosines(parts.at_mm, waves, *sides)
    bend = ((waves / sides * max(sides)) ** 2).sum(axis=1) ** 2
    explained = _explained(parts, basis, bend, settings)
    if explained[0] < settings.explained_min:
        return None
    level, red, blue = _fit(_brightness_and_tints(parts.ln_colour), basis, bend, parts.alike, settings).T
    red, blue = red * (explained[1] >= settings.explained_min), blue * (explained[2] >= settings.explained_min)
    # Brightness is the mean of the three: what red or blue has more, green has less.
    terms = np.stack([level + red, level - red - blue, level + blue], axis=1)
    # Each whole cosine has mean 0 over the tray and mean square 1/2 along each side that it waves along.
    power = np.prod(np.where(waves > 0, 0.5, 1.0), axis=1)
    spread = float(np.sqrt((level**2 * power).sum()))
    return GainField(waves, terms, *sides, explained[0], spread) if spread >= settings.amplitude_min else None


def mean_of_parts(
    rectified: Rectified, segmentation: Segmentation, layout: Layout, *, bins: int, clear_mm: float, share_min: float
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Mean linear colour of each part of each cell that is clear of plants.

    Parameters
    ----------
    bins : int
        Parts of a cell a side.
    clear_mm : float
        Ground nearer to a plant is left out.
    share_min : float
        Least share of a part that must be clear.

    Returns
    -------
    seen : (n,) int ndarray
        cell · bins² + row of the part · bins + its column.
    linear : (n, 3) ndarray
    at_mm : (n, 2) ndarray
        Their middles.
    """
    step = max(1, int(layout.pitch_x_mm / bins / rectified.mm_per_px / 3))
    clear = _clear_ground(segmentation, rectified, step, clear_mm)
    number = _part_of_pixels(rectified, layout, clear.shape, step, bins)
    inside = number >= 0
    count_all = layout.cells * bins**2
    every = np.bincount(number[inside], minlength=count_all)
    used = np.flatnonzero(inside & clear)
    number = number.ravel().take(used)
    light = codes_to_linear(rectified.rgb[::step, ::step].reshape(-1, 3).take(used, axis=0))
    count = np.bincount(number, minlength=count_all)
    seen = np.flatnonzero((count > 0) & (count >= share_min * every))
    linear = np.stack([np.bincount(number, light[:, c], count_all)[seen] for c in range(3)], axis=1)
    cell, part = np.divmod(seen, bins**2)
    inside_cell = (np.stack([part % bins, part // bins], axis=1) + 0.5) / bins - 0.5
    at_mm = layout.centres_mm()[cell] + inside_cell * (layout.pitch_x_mm, layout.pitch_y_mm)
    return seen, linear / count[seen, None], at_mm


def _clear_parts(rectified: Rectified, segmentation: Segmentation, layout: Layout, settings: GainSettings) -> _Parts:
    """Mean colour of each part at the edge of a cell that is clear of plants.

    Only the outer ring of a cell's parts: the medium in the middle differs from cell to cell, and its shade with it.
    """
    bins = settings.bins_per_cell
    seen, linear, at_mm = mean_of_parts(
        rectified, segmentation, layout, bins=bins, clear_mm=settings.clear_mm, share_min=settings.bin_share_min
    )
    down, across = np.divmod(seen % bins**2, bins)
    ring = np.flatnonzero((np.minimum(across, down) == 0) | (np.maximum(across, down) == bins - 1))
    ring = ring[:: -(-len(ring) // settings.bins_max) or 1]
    of_cell, of_part = np.divmod(seen[ring], bins**2)
    row, col = np.divmod(of_cell, layout.columns)
    return _Parts(
        ln_colour=np.log(np.maximum(linear[ring], _DARKEST)),
        at_mm=at_mm[ring],
        alike=(np.unique(of_part)[:, None] == of_part).astype(np.float64),
        half=(row + col) % 2,
    )


def _clear_ground(segmentation: Segmentation, rectified: Rectified, step: int, clear_mm: float) -> BoolArray:
    """Every `step`-th pixel: True on ground that the photo shows and no plant is near."""
    reach = 2 * int(np.ceil(clear_mm / (step * rectified.mm_per_px))) + 1
    plants = (segmentation.cover[::step, ::step] > 0).astype(np.uint8)
    return np.asarray((cv2.dilate(plants, np.ones((reach, reach), np.uint8)) == 0) & rectified.inside[::step, ::step])


def _part_of_pixels(
    rectified: Rectified, layout: Layout, shape: tuple[int, ...], step: int, bins: int
) -> NDArray[np.int32]:
    """cell · bins² + part of every pixel looked at; −1 outside the grid."""
    first = layout.centres_mm()[0] - np.array([layout.pitch_x_mm, layout.pitch_y_mm]) / 2
    y = (rectified.y0_mm + np.arange(shape[0]) * step * rectified.mm_per_px - first[1]) / layout.pitch_y_mm
    row = np.floor(y).astype(np.int32)
    x_mm = (rectified.x0_mm + np.arange(shape[1]) * step * rectified.mm_per_px - first[0]).astype(np.float32)
    # In parts from the first cell's edge: every second row may be shifted.
    shift = (layout.row_offset_mm * (row % 2)).astype(np.float32)
    fine = np.floor((x_mm[None, :] - shift[:, None]) * np.float32(bins / layout.pitch_x_mm)).astype(np.int32)
    col = fine // bins
    down = np.clip(np.floor((y - row) * bins), 0, bins - 1).astype(np.int32)
    number = (row * (layout.columns * bins**2) + down * bins)[:, None] + col * (bins**2 - bins) + fine
    good = ((row >= 0) & (row < layout.rows))[:, None] & (col >= 0) & (col < layout.columns)
    return np.where(good, number, np.int32(-1))


def _waves(most: int, width_mm: float, height_mm: float) -> FloatArray:
    """Half waves along both sides, none shorter than the longer side holds `most` of."""
    sides = np.array([width_mm, height_mm])
    along = np.stack(np.meshgrid(np.arange(most + 1), np.arange(most + 1)), axis=-1).reshape(-1, 2)
    length = np.hypot(*(along / sides * sides.max()).T)
    return np.asarray(along[(length > 0) & (length <= most)], np.float64)


def _cosines(points_mm: FloatArray, waves: FloatArray, width_mm: float, height_mm: float) -> FloatArray:
    """(n, k) value of each term at each place, places beyond the outline brought to its edge."""
    share = np.clip(points_mm / (width_mm, height_mm), 0, 1)
    most = int(waves.max(initial=0)) + 1
    across, down = (np.cos(np.pi * share[:, axis, None] * np.arange(most)) for axis in (0, 1))
    return np.asarray(across[:, waves[:, 0].astype(int)] * down[:, waves[:, 1].astype(int)])


def _brightness_and_tints(ln_colour: FloatArray) -> FloatArray:
    """(n, 3) mean of ln R, G, B, and how far red and blue lie above it."""
    brightness = ln_colour.mean(axis=1)
    return np.stack([brightness, ln_colour[:, 0] - brightness, ln_colour[:, 2] - brightness], axis=1)


def _fit(
    values: FloatArray, basis: FloatArray, bend: FloatArray, alike: FloatArray, settings: GainSettings
) -> FloatArray:
    """(k, 3) terms of the fields: least squares with Huber's weights, each part of a cell having its own level."""
    weight, terms = np.ones(len(values)), np.zeros((basis.shape[1], 3))
    for _ in range(_ROUNDS):
        both = _less_means(np.column_stack([basis, values]), alike, weight)
        flat, target = both[:, :-3], both[:, -3:]
        weighted = flat * weight[:, None]
        normal, right = weighted.T @ flat, weighted.T @ target
        terms[:, :1] = np.linalg.solve(normal + np.diag(settings.smoothness * bend), right[:, :1])
        terms[:, 1:] = np.linalg.solve(normal + np.diag(settings.colour_smoothness * bend), right[:, 1:])
        residual = np.abs(target - flat @ terms)
        sd = np.maximum(1.4826 * np.median(residual, axis=0), 1e-9)
        weight = np.minimum(1.0, settings.robust_sds / np.maximum((residual / sd).max(axis=1), 1e-9))
    return terms


def _less_means(columns: FloatArray, alike: FloatArray, weight: FloatArray) -> FloatArray:
    """Columns (n, k) less the weighted mean of all like parts: what a part is made of drops out."""
    weighted = alike * weight
    means = (weighted @ columns) / np.maximum(weighted.sum(axis=1), 1e-12)[:, None]
    return np.asarray(columns - alike.T @ means)


def _explained(
    parts: _Parts, basis: FloatArray, bend: FloatArray, settings: GainSettings
) -> tuple[float, float, float]:
    """Share of the spread (robust, squared) of brightness, red and blue that half of the cells tells of the rest."""
    values = _brightness_and_tints(parts.ln_colour)
    before, after = [], []
    for half in (0, 1):
        here, there = parts.half == half, parts.half != half
        if min(here.sum(), there.sum()) < settings.bins_min // 2:
            return 0.0, 0.0, 0.0
        terms = _fit(values[here], basis[here], bend, parts.alike[:, here], settings)
        both = np.column_stack([values[there], values[there] - basis[there] @ terms])
        rest = np.abs(_less_means(both, parts.alike[:, there], np.ones(len(both))))
        before.append(rest[:, :3])
        after.append(rest[:, 3:])
    spread, left = (np.median(np.concatenate(rest), axis=0) for rest in (before, after))
    brightness, red, blue = 1 - (left / np.maximum(spread, 1e-9)) ** 2
    return float(brightness), float(red), float(blue)
