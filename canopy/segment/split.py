"""Whose leaf: every canopy pixel goes to a cell of the tray, overhang included, or to none.

Each place of the canopy votes for where its plant is rooted (see `canopy.segment.network`); votes that gather around
the middle of a cell are a plant rooted there. A connected piece of canopy with one such plant belongs to it as a whole,
however far it leans over; where several plants touch, each place goes to that plant whose root lies nearest to its
vote. A ring of cells beyond the tray stands for its neighbours. Mats are cut into tiles.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.records import Height, Layout
from canopy.segment.cellgrid import CellGrid, cell_grid
from canopy.segment.rooted import SHARED, Canopy, component_cells, cut_pieces
from canopy.settings.segment import SegmentSettings
from canopy.tray.rectify import Rectified

Floats = NDArray[np.float32]
Ints = NDArray[np.int32]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Split:
    """Whose canopy each pixel of the reduced grid is.

    Attributes
    ----------
    owner : (k, l) int32 ndarray
        Bare pixels −1; canopy of no cell of this tray 0; else cell number 1..cells.
    doubt : (k, l) float32 ndarray
        Probability that a pixel is another plant's, 0..1; 0 where there is no other to choose.
    """

    owner: Ints
    doubt: Floats


def split_plants(
    probability: Floats,
    ways: Floats,
    *,
    rectified: Rectified,
    layout: Layout,
    height: Height,
    settings: SegmentSettings,
) -> Split:
    """Owner of each pixel of the reduced grid.

    Parameters
    ----------
    probability : (m, n) float32 ndarray
        Of canopy, covering the same ground as the rectified picture at any scale.
    ways : (k, l, 2) float32 ndarray
        How far right and down each place's root lies, in pixels of `probability`; same ground, any scale.
    """
    canopy = reduced_canopy(probability, rectified=rectified, settings=settings)
    grid = cell_grid(layout, height)
    owner = np.full(canopy.shape, -1, dtype=np.int32)
    doubt = np.zeros(canopy.shape, dtype=np.float32)
    index = np.flatnonzero(canopy)
    if not index.size:
        return Split(owner, doubt)
    seen = _seen_mm(index, canopy.shape, rectified)
    if layout.kind == "mat":
        owner.ravel()[index] = grid.numbers()[grid.cell_at(*grid.rooted_mm(*seen))]
        return Split(owner, doubt)
    _, labels = cv2.connectedComponents(canopy.view(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    component = np.asarray(labels, dtype=np.int32).ravel()[index]
    mm_per_px = np.float32(rectified.mm_per_px * rectified.rgb.shape[1] / probability.shape[1])
    right, down = (part.ravel()[index] * mm_per_px for part in _smoothed(ways, canopy, settings=settings))
    voted = seen[0] + right, seen[1] + down
    cell = grid.cell_at(*voted)
    listed = Canopy(component, seen, voted, cell, _firm(cell, index, canopy.shape))
    owner.ravel()[index], doubt.ravel()[index] = _owners(listed, grid=grid, settings=settings)
    return Split(owner, doubt)


def reduced_canopy(probability: Floats, *, rectified: Rectified, settings: SegmentSettings) -> Bools:
    """Canopy at the splitting scale, which is never finer than the rectified picture."""
    scale = min(1.0, rectified.mm_per_px / settings.split_mm_per_px)
    rows, cols = (max(1, round(n * scale)) for n in rectified.rgb.shape[:2])
    how = cv2.INTER_AREA if rows <= probability.shape[0] else cv2.INTER_LINEAR
    reduced: Bools = cv2.resize(probability, (cols, rows), interpolation=how) > 0.5
    return reduced


def _seen_mm(index: NDArray[np.intp], shape: tuple[int, ...], rectified: Rectified) -> tuple[Floats, Floats]:
    """Where the pixels of a reduced grid lie, tray mm."""
    rows, cols = shape
    down, right = rectified.rgb.shape[0] / rows, rectified.rgb.shape[1] / cols
    x = rectified.x0_mm + ((np.arange(cols) + 0.5) * right - 0.5) * rectified.mm_per_px
    y = rectified.y0_mm + ((np.arange(rows) + 0.5) * down - 0.5) * rectified.mm_per_px
    row, col = np.divmod(index, cols)
    return x.astype(np.float32)[col], y.astype(np.float32)[row]


def _smoothed(ways: Floats, canopy: Bools, *, settings: SegmentSettings) -> tuple[Floats, Floats]:
    """Ways right and down on the grid of `canopy`, averaged over the canopy around each place."""
    weight = canopy.astype(np.float32)
    side = (2 * settings.vote_smooth_px + 1,) * 2
    total = np.maximum(cv2.blur(weight, side), np.float32(1e-6))
    parts = []
    for part in cv2.split(ways):
        on_grid = cv2.resize(part, canopy.shape[::-1], interpolation=cv2.INTER_LINEAR)
        parts.append(np.asarray(cv2.blur(on_grid * weight, side) / total, dtype=np.float32))
    return parts[0], parts[1]


def _firm(cell: Ints, index: NDArray[np.intp], shape: tuple[int, ...]) -> Bools:
    """Pixels whose neighbours vote for the same cell: between two plants, votes in between may name a third."""
    least, most = (np.full(shape, fill, dtype=np.float32) for fill in (np.inf, -np.inf))
    least.ravel()[index] = cell
    most.ravel()[index] = cell
    around = np.ones((3, 3), np.uint8)
    firm: Bools = cv2.erode(least, around).ravel()[index] == cv2.dilate(most, around).ravel()[index]
    return firm


def _owners(canopy: Canopy, *, grid: CellGrid, settings: SegmentSettings) -> tuple[Ints, Floats]:
    """Cell number of each canopy pixel, and how likely it is another's."""
    pieces = cut_pieces(canopy, grid=grid, settings=settings)
    active, whole = component_cells(pieces, grid=grid, settings=settings)
    numbers = grid.numbers()
    cell = whole[canopy.component]
    owner = np.where(cell >= 0, numbers[cell], np.int32(0))
    doubt = np.zeros(owner.size, np.float32)
    shared = cell == SHARED
    if shared.any():
        is_root = np.zeros(grid.count, dtype=bool)
        is_root[pieces.cell[active]] = True
        voted, named = (canopy.voted_mm[0][shared], canopy.voted_mm[1][shared]), canopy.cell[shared]
        nearest, doubt[shared] = _nearest_root(voted, named, is_root=is_root, grid=grid, settings=settings)
        owner[shared] = numbers[nearest]
    return owner, doubt


def _nearest_root(
    voted_mm: tuple[Floats, Floats], cell: Ints, *, is_root: Bools, grid: CellGrid, settings: SegmentSettings
) -> tuple[Ints, Floats]:
    """Of the voted cell and the 8 around it, the one with a plant that is nearest to the vote.

    The voted cell itself where none of the nine has a plant. The second is the chance of the next nearest, were votes
    spread around the cells' middles by a normal distribution of `vote_sd` pitches.
    """
    across_mm, down_mm = np.ascontiguousarray(grid.centres_mm().T)
    best = cell.copy()
    least = np.full(best.shape, np.inf, dtype=np.float32)
    second = least.copy()
    for step in (down * grid.columns + right for down in (-1, 0, 1) for right in (-1, 0, 1)):
        other = np.clip(cell + np.int32(step), 0, grid.count - 1)
        squared = np.square(voted_mm[0] - across_mm[other]) + np.square(voted_mm[1] - down_mm[other])
        squared[~is_root[other]] = np.inf
        closer = squared < least
        np.copyto(second, np.where(closer, least, np.minimum(second, squared)))
        np.copyto(best, other, where=closer)
        np.copyto(least, squared, where=closer)
    spread = np.float32(2 * (settings.vote_sd * grid.pitch_mm) ** 2)
    some = np.isfinite(second)
    ahead = np.where(some, second, 0) - np.where(some, least, 0)
    chance = 1 / (1 + np.exp(np.minimum(ahead / spread, np.float32(50))))
    return best, np.where(some, chance, 0).astype(np.float32)
