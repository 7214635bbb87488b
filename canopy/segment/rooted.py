"""In which cell a connected piece of canopy is rooted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.segment.cellgrid import CellGrid
from canopy.settings.segment import SegmentSettings

Floats = NDArray[np.float32]
Ints = NDArray[np.int32]
Bools = NDArray[np.bool_]

NONE, SHARED = -1, -2
_STRAY_SHARE = 0.97  # a component counts as within one cell when no more than 3 % of it reaches over the line


@dataclass(frozen=True)
class Canopy:
    """Canopy pixels of the reduced grid, as lists.

    Attributes
    ----------
    component : (n,) int32 ndarray
        Connected piece of canopy, from 1.
    seen_mm, voted_mm : pairs of (n,) float32 ndarrays
        Where each lies, and where it says that its plant is rooted: x and y, tray mm.
    cell : (n,) int32 ndarray
        Cell of the ringed grid nearest to the vote.
    firm : (n,) bool ndarray
        True where all around vote for the same cell.
    """

    component: Ints
    seen_mm: tuple[Floats, Floats]
    voted_mm: tuple[Floats, Floats]
    cell: Ints
    firm: Bools


@dataclass(frozen=True)
class Pieces:
    """Components cut by the cells voted for, sorted by component.

    Attributes
    ----------
    component, cell : (n,) int32 ndarray
    pixels : (n,) ndarray
        Size on the reduced grid.
    share : (n,) ndarray
        Part of the component, 0..1.
    offcentre : (n,) ndarray
        Distance of the votes' mean from the cell's centre, in pitches.
    away : (n,) ndarray
        The same for where the piece is seen.
    standing : (n,) ndarray
        Firm pixels of the piece seen within `standing_reach` pitches of its cell's centre.
    beyond : (n,) ndarray
        How far outside the outline the piece is seen, in pitches; negative inside.
    """

    component: Ints
    cell: Ints
    pixels: NDArray[np.int64]
    share: NDArray[np.float64]
    offcentre: NDArray[np.float64]
    away: NDArray[np.float64]
    standing: NDArray[np.int64]
    beyond: NDArray[np.float64]


def cut_pieces(canopy: Canopy, *, grid: CellGrid, settings: SegmentSettings) -> Pieces:
    """Pieces of all canopy pixels."""
    key, inverse = _numbered(canopy.component.astype(np.int64) * grid.count + canopy.cell)
    pixels = np.bincount(inverse)
    whose, where = np.divmod(key, grid.count)
    total = np.bincount(whose, pixels)
    centres = grid.centres_mm()
    voted, seen = (
        np.stack([np.bincount(inverse, part) / pixels for part in place]) for place in (canopy.voted_mm, canopy.seen_mm)
    )
    offcentre, away = (np.hypot(*(place - centres[where].T)) / grid.pitch_mm for place in (voted, seen))
    x_mm, y_mm = (part[canopy.cell] for part in np.ascontiguousarray(centres.T))
    squared = np.square(canopy.seen_mm[0] - x_mm) + np.square(canopy.seen_mm[1] - y_mm)
    near = canopy.firm & (squared <= (settings.standing_reach * grid.pitch_mm) ** 2)
    standing = np.bincount(inverse[near], minlength=pixels.size)
    beyond = grid.beyond_mm(*seen.astype(np.float32)).astype(np.float64) / grid.pitch_mm
    return Pieces(
        whose.astype(np.int32), where.astype(np.int32), pixels, pixels / total[whose], offcentre, away, standing, beyond
    )  # fmt: skip


def _numbered(key: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.intp]]:
    """As `numpy.unique` with inverse, by a table instead of sorting when the keys are few."""
    top = int(key.max()) + 1
    if top > 50_000_000:
        found, inverse = np.unique(key, return_inverse=True)
        return found, inverse
    seen = np.zeros(top, dtype=bool)
    seen[key] = True
    found = np.flatnonzero(seen)
    place = np.empty(top, dtype=np.intp)
    place[found] = np.arange(found.size)
    return found, place[key]


def component_cells(pieces: Pieces, *, grid: CellGrid, settings: SegmentSettings) -> tuple[Bools, Ints]:
    """Which pieces are rooted in the cell they vote for, and the one cell of each component that has just one.

    Returns
    -------
    active : (n,) bool ndarray
        Per piece: True where a plant stands in the piece's cell; the others are overhang or mistaken votes.
    whole : (components + 1,) int32 ndarray
        Cell of the ringed grid of components rooted in one cell; −1 for strays that belong to no plant, −2 for
        components that several plants share.
    """
    ours = grid.numbers()[pieces.cell] > 0
    outside = pieces.beyond > settings.outside_reach
    gathered = (pieces.offcentre <= settings.offcentre_reach) & (pieces.standing >= settings.standing_px) & ~outside
    elsewhere = ~ours & (pieces.beyond > 0.5 - settings.offcentre_reach)
    active = np.where(ours, gathered, elsewhere) | ((pieces.share >= _STRAY_SHARE) & ~(ours & outside))
    active |= _largest_of_rootless(pieces, active) & ~(ours & outside)
    planted = np.zeros(grid.count, dtype=bool)
    planted[pieces.cell[active & (pieces.away <= settings.stray_reach)]] = True
    rooted = np.bincount(pieces.component[active], minlength=int(pieces.component[-1]) + 1)
    whole = np.full(rooted.size, SHARED, dtype=np.int32)
    whole[rooted == 0] = NONE
    single = active & (rooted[pieces.component] == 1)
    whole[pieces.component[single]] = np.where(planted[pieces.cell[single]], pieces.cell[single], NONE)
    return active & planted[pieces.cell], whole


def _largest_of_rootless(pieces: Pieces, active: Bools) -> Bools:
    """The largest piece of each component without any rooted piece: a plant leaning far out, or a stray."""
    rooted = np.zeros(int(pieces.component[-1]) + 1, dtype=bool)
    rooted[pieces.component[active]] = True
    order = np.lexsort((pieces.pixels, pieces.component))
    last = np.append(pieces.component[order][1:] != pieces.component[order][:-1], True)
    largest = np.zeros(active.size, dtype=bool)
    largest[order[last]] = True
    return largest & ~rooted[pieces.component]
