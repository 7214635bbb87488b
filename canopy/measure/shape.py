"""Outline, width and hull of each plant, from the few pixels on its outline."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.measure.pixels import PlantPixels

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
LabelImage = NDArray[np.uint16]

# The hull of the pixel centres inside a round outline lies within it by 0.3 px (radius 6 px) to 0.16 px (radius 40 px).
_WIDEN_PX = 0.25


@dataclass(frozen=True)
class Shapes:
    """Shape of each plant on the rim plane; all (cells,), NaN without canopy.

    Attributes
    ----------
    outline_mm : ndarray
        Length of the outline, borders to neighbours included (Crofton's formula in 4 directions).
    diameter_mm : ndarray
        Maximum Feret diameter.
    compactness : ndarray
        4π·area/outline², at most 1.
    solidity : ndarray
        Area over the area of the convex hull, at most 1.
    """

    outline_mm: FloatArray
    diameter_mm: FloatArray
    compactness: FloatArray
    solidity: FloatArray


def label_raster(pixels: PlantPixels, shape: tuple[int, int]) -> LabelImage:
    """(M, N) raster of cell numbers from 1 where a pixel is at least half plant, else 0."""
    labels = np.zeros(shape[0] * shape[1], dtype=np.uint16)
    number = np.repeat(np.arange(1, pixels.cells + 1, dtype=np.uint16), np.diff(pixels.bounds))
    labels[pixels.flat] = np.where(pixels.cover >= 0.5, number, 0)
    return labels.reshape(shape)


def plant_shapes(labels: LabelImage, pixels: PlantPixels) -> Shapes:
    """Shape of each plant from its label raster and, for areas, the plant share of its pixels."""
    at, cell = _outline_pixels(labels)
    outline_px = _crofton_length(labels, at, cell, cells=pixels.cells)
    feret_px, hull_px = _hulls(at, cell, width=labels.shape[1], cells=pixels.cells)
    with np.errstate(divide="ignore", invalid="ignore"):  # plants without outline pixels: 0/0 becomes NaN as promised
        compactness = np.minimum(4 * np.pi * pixels.area_px / outline_px**2, 1.0)
        solidity = np.minimum(pixels.area_px / hull_px, 1.0)
    mm = pixels.mm_per_px
    return Shapes(outline_px * mm, feret_px * mm, compactness, solidity)


def _outline_pixels(labels: LabelImage) -> tuple[IntArray, IntArray]:
    """Raveled index and 0-based cell of plant pixels with a differing 8-neighbour, grouped by cell."""
    # The raster's own border has no neighbours beyond; a margin lies around the tray, so one pixel there is no loss.
    labels[0], labels[-1], labels[:, 0], labels[:, -1] = 0, 0, 0, 0
    square = np.ones((3, 3), np.uint8)
    mixed = cv2.erode(labels, square) != cv2.dilate(labels, square)
    at = np.flatnonzero(mixed & (labels > 0))
    number = labels.ravel().take(at)
    order = np.argsort(number, kind="stable")  # of 16 bits: numpy then sorts by radix
    return at.take(order), number.take(order).astype(np.intp) - 1


def _crofton_length(labels: LabelImage, at: IntArray, cell: IntArray, *, cells: int) -> FloatArray:
    """Outline length in pixels, Crofton: π/8 · (crossings of rows and columns + crossings of diagonals/√2)."""
    flat, width = labels.ravel(), labels.shape[1]
    own = flat.take(at)
    crossings = np.zeros(cells)
    for steps, weight in (((1, width), 1.0), ((width + 1, width - 1), 0.5**0.5)):
        out = np.zeros(at.size, np.uint8)
        for step in steps:
            out += flat.take(at + step) != own
            out += flat.take(at - step) != own
        crossings += weight * np.bincount(cell, weights=out, minlength=cells)
    return np.where(crossings > 0, np.pi / 8 * crossings, np.nan)


def _hulls(at: IntArray, cell: IntArray, *, width: int, cells: int) -> tuple[FloatArray, FloatArray]:
    """Maximum Feret diameter and convex area in pixels, from the hull of pixel centres widened a little."""
    feret, area = np.full(cells, np.nan), np.full(cells, np.nan)
    row = at // width
    # The hull needs the ends of each plant's rows only: a third of the outline.
    turns = (np.diff(row) != 0) | (np.diff(cell) != 0)
    ends = np.append(True, turns) | np.append(turns, True) if at.size else np.zeros(0, dtype=bool)
    at, cell, row = at[ends], cell[ends], row[ends]
    points = np.stack([at - row * width, row], axis=1).astype(np.int32)
    bounds = np.searchsorted(cell, np.arange(cells + 1))
    for c in np.flatnonzero(np.diff(bounds)):
        hull = cv2.convexHull(points[bounds[c] : bounds[c + 1]])
        x, y = hull[:, 0].T.astype(np.float64)
        apart2 = np.square(x[:, None] - x) + np.square(y[:, None] - y)
        feret[c] = np.sqrt(apart2.max()) + 2 * _WIDEN_PX
        # Steiner's formula for a convex body widened by r: A + P·r + π·r².
        area[c] = cv2.contourArea(hull) + cv2.arcLength(hull, True) * _WIDEN_PX + np.pi * _WIDEN_PX**2
    return feret, area
