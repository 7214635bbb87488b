"""Whose leaf: every canopy pixel goes to a cell of the tray, overhang included, or to none.

Canopy is cut into connected components on a reduced grid. A component rooted in one cell belongs to it as a whole,
however far it leans over. Where several plants touch, they are flooded from their middles (marker-controlled watershed,
Meyer & Beucher 1990) over a relief of the power distance |x − s|² − r² to the nearest plant (Aurenhammer 1987, "Power
diagrams": discs that overlap are parted along the line through the points where they cross) less the depth inside the
canopy, so that shares end at necks between leaves; within a step of the relief the shortest way through the canopy
counts. A ring of cells beyond the tray stands for the neighbours' plants.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.segmentation import watershed

from canopy.records import Height, Layout
from canopy.segment.cellgrid import CellGrid, cell_grid
from canopy.segment.rooted import SHARED, Pieces, component_cells, cut_pieces
from canopy.settings.segment import SegmentSettings
from canopy.tray.rectify import Rectified

Floats = NDArray[np.float32]
Ints = NDArray[np.int32]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Places:
    """Canopy pixels of the reduced grid, as a list.

    Attributes
    ----------
    index : (n,) int ndarray
        Flat index in the reduced grid.
    mm_per_px : float
        Of the reduced grid.
    x_mm, y_mm : (n,) float32 ndarray
        Where each is rooted, tray mm.
    cell : (n,) int32 ndarray
        Cell of the ringed grid it lies over.
    component : (n,) int32 ndarray
        Connected piece of canopy, from 1.
    """

    index: NDArray[np.intp]
    mm_per_px: float
    x_mm: Floats
    y_mm: Floats
    cell: Ints
    component: Ints

    def among(self, chosen: Bools) -> Places:
        """Only the chosen ones."""
        x, y = self.x_mm[chosen], self.y_mm[chosen]
        return Places(self.index[chosen], self.mm_per_px, x, y, self.cell[chosen], self.component[chosen])


@dataclass(frozen=True)
class Plants:
    """A disc for each cell of the ringed grid, tray mm."""

    x_mm: Floats
    y_mm: Floats
    squared_radius: Floats

    def squared_distance(self, places: Places, cell: Ints) -> Floats:
        """From each place to the plant of the cell given for it, mm²."""
        squared: Floats = np.square(places.x_mm - self.x_mm[cell]) + np.square(places.y_mm - self.y_mm[cell])
        return squared


def split_plants(
    probability: Floats, *, rectified: Rectified, layout: Layout, height: Height, settings: SegmentSettings
) -> Ints:
    """Owner of each pixel of the reduced grid.

    Parameters
    ----------
    probability : (m, n) float32 ndarray
        Of canopy, covering the same ground as the rectified picture at any scale.

    Returns
    -------
    (k, l) int32 ndarray
        Bare pixels −1; canopy of no cell of this tray 0; else cell number 1..cells.
    """
    canopy = reduced_canopy(probability, rectified=rectified, settings=settings)
    grid = cell_grid(layout, height)
    places = _places(canopy, rectified=rectified, grid=grid)
    owner = np.full(canopy.shape, -1, dtype=np.int32)
    if not places.index.size:
        return owner
    if layout.kind == "mat":
        owner.ravel()[places.index] = grid.numbers()[places.cell]
        return owner
    pieces = cut_pieces(places.component, places.cell, places.x_mm, places.y_mm, grid=grid)
    rooted = (pieces, *component_cells(pieces, grid=grid, settings=settings))
    owner.ravel()[places.index] = _owners(places, canopy, rooted=rooted, grid=grid, settings=settings)
    return owner


def reduced_canopy(probability: Floats, *, rectified: Rectified, settings: SegmentSettings) -> Bools:
    """Canopy at the splitting scale, which is never finer than the rectified picture."""
    scale = min(1.0, rectified.mm_per_px / settings.split_mm_per_px)
    rows, cols = (max(1, round(n * scale)) for n in rectified.rgb.shape[:2])
    how = cv2.INTER_AREA if rows <= probability.shape[0] else cv2.INTER_LINEAR
    reduced: Bools = cv2.resize(probability, (cols, rows), interpolation=how) > 0.5
    return reduced


def _places(canopy: Bools, *, rectified: Rectified, grid: CellGrid) -> Places:
    """List the canopy pixels with their rooted position, cell and component."""
    rows, cols = canopy.shape
    down, right = rectified.rgb.shape[0] / rows, rectified.rgb.shape[1] / cols
    x = rectified.x0_mm + ((np.arange(cols) + 0.5) * right - 0.5) * rectified.mm_per_px
    y = rectified.y0_mm + ((np.arange(rows) + 0.5) * down - 0.5) * rectified.mm_per_px
    index = np.flatnonzero(canopy)
    row, col = np.divmod(index, cols)
    x_mm, y_mm = grid.rooted_mm(x.astype(np.float32)[col], y.astype(np.float32)[row])
    _, labels = cv2.connectedComponents(canopy.view(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    mm_per_px = rectified.mm_per_px * float(np.sqrt(down * right))
    component = np.asarray(labels, dtype=np.int32).ravel()[index]
    return Places(index, mm_per_px, x_mm, y_mm, grid.cell_at(x_mm, y_mm), component)


def _owners(
    places: Places,
    canopy: Bools,
    *,
    rooted: tuple[Pieces, Bools, Ints],
    grid: CellGrid,
    settings: SegmentSettings,
) -> Ints:
    """Cell number of each canopy pixel."""
    pieces, active, whole = rooted
    numbers = grid.numbers()
    cell = whole[places.component]
    owner = np.where(cell >= 0, numbers[cell], np.int32(0))
    shared = cell == SHARED
    if not shared.any():
        return owner
    is_seed = np.zeros((whole.size, grid.count), dtype=bool)
    is_seed[pieces.component[active], pieces.cell[active]] = True
    some = places.among(shared)
    centres = grid.centres_mm()
    plants = Plants(centres[:, 0], centres[:, 1], np.zeros(grid.count, np.float32))
    nearest, _ = _least_power(some, plants, is_seed=is_seed, grid=grid)
    # Fitting once is best: again and again, the larger of two plants would eat up the smaller.
    plants = _fitted(some, nearest, grid=grid)
    nearest, power = _least_power(some, plants, is_seed=is_seed, grid=grid)
    owner[shared] = numbers[_flooded(some, canopy, plants=plants, nearest=nearest, power=power, settings=settings)]
    return owner


def _least_power(places: Places, plants: Plants, *, is_seed: Bools, grid: CellGrid) -> tuple[Ints, Floats]:
    """Of a pixel's own cell and the 8 around it, the plant of its component with the least power distance.

    The pixel's own cell, at an infinite distance, where none of the nine has a plant of the component.
    """
    best = places.cell.copy()
    least = np.full(best.shape, np.inf, dtype=np.float32)
    flat = is_seed.ravel()
    base = places.component * np.int32(grid.count)
    for step in (down * grid.columns + right for down in (-1, 0, 1) for right in (-1, 0, 1)):
        other = np.clip(places.cell + np.int32(step), 0, grid.count - 1)
        power = plants.squared_distance(places, other) - plants.squared_radius[other]
        closer = (power < least) & flat[base + other]
        np.copyto(best, other, where=closer)
        np.copyto(least, power, where=closer)
    return best, least


def _fitted(places: Places, nearest: Ints, *, grid: CellGrid) -> Plants:
    """Plants at the centroid of their share, with the radius of the disc of the same second moment (r²/2)."""
    count = np.maximum(np.bincount(nearest, minlength=grid.count), 1)
    x = np.bincount(nearest, places.x_mm, grid.count) / count
    y = np.bincount(nearest, places.y_mm, grid.count) / count
    plants = Plants(x.astype(np.float32), y.astype(np.float32), np.zeros(grid.count, np.float32))
    squared = 2 * np.bincount(nearest, plants.squared_distance(places, nearest), grid.count) / count
    return replace(plants, squared_radius=squared.astype(np.float32))


def _flooded(
    places: Places, canopy: Bools, *, plants: Plants, nearest: Ints, power: Floats, settings: SegmentSettings
) -> Ints:
    """Flood from the plants' middles so that every share is in one piece; where no flood comes, the nearest stays."""
    finite = np.isfinite(power)
    scale = float(np.median(plants.squared_radius[nearest]))
    depth_px = cv2.distanceTransform(canopy.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5).ravel()[places.index]
    depth = np.minimum(depth_px * np.float32(places.mm_per_px / np.sqrt(scale)), 1)
    away = np.where(finite, power, power[finite].max(initial=0)) / scale
    # In whole steps: within one, floods advance at one pace, so that a blade goes to the plant its stalk leads to.
    height = np.floor(settings.distance_weight * away - settings.neck_weight * depth)
    reach = np.float32(settings.middle_share**2) * plants.squared_radius[nearest]
    middle = finite & (plants.squared_distance(places, nearest) < reach)
    relief = np.zeros(canopy.shape, dtype=np.float32)
    markers = np.zeros(canopy.shape, dtype=np.int32)
    mask = np.zeros(canopy.shape, dtype=bool)
    relief.ravel()[places.index] = height
    markers.ravel()[places.index[middle]] = nearest[middle] + 1
    mask.ravel()[places.index] = True
    flooded = watershed(relief, markers, mask=mask, connectivity=2).ravel()[places.index]  # type: ignore[no-untyped-call]
    return np.where(flooded > 0, flooded - 1, nearest).astype(np.int32)
