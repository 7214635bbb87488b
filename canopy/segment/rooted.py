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
class Pieces:
    """Components cut along the lines between cells, sorted by component.

    Attributes
    ----------
    component, cell : (n,) int32 ndarray
    pixels : (n,) ndarray
        Size on the reduced grid.
    share : (n,) ndarray
        Part of the component, 0..1.
    offcentre : (n,) ndarray
        Distance of the piece's centroid from its cell's centre, in pitches.
    beyond : (n,) ndarray
        How far outside the outline the centroid lies, in pitches; negative inside.
    """

    component: Ints
    cell: Ints
    pixels: NDArray[np.int64]
    share: NDArray[np.float64]
    offcentre: NDArray[np.float64]
    beyond: NDArray[np.float64]


def cut_pieces(component: Ints, cell: Ints, x_mm: Floats, y_mm: Floats, *, grid: CellGrid) -> Pieces:
    """Pieces of all canopy pixels, given as lists."""
    key, inverse = _compact(component.astype(np.int64) * grid.count + cell)
    pixels = np.bincount(inverse)
    x = np.bincount(inverse, x_mm) / pixels
    y = np.bincount(inverse, y_mm) / pixels
    whose, where = np.divmod(key, grid.count)
    total = np.bincount(whose, pixels)
    off = np.hypot(*(np.stack([x, y]) - grid.centres_mm()[where].T)) / grid.pitch_mm
    beyond = grid.beyond_mm(x.astype(np.float32), y.astype(np.float32)) / grid.pitch_mm
    return Pieces(
        whose.astype(np.int32), where.astype(np.int32), pixels, pixels / total[whose], off, beyond.astype(np.float64)
    )


def _compact(key: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.intp]]:
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
    """Which pieces are rooted where they lie, and the one cell of each component that has just one.

    Returns
    -------
    active : (n,) bool ndarray
        Per piece: True where a plant stands in the piece's cell; the others are overhang.
    whole : (components + 1,) int32 ndarray
        Cell of the ringed grid of components rooted in one cell; −1 for strays that belong to no plant, −2 for
        components that several plants share.
    """
    ours = grid.numbers()[pieces.cell] > 0
    alone = pieces.share >= _STRAY_SHARE
    centred = np.where(
        ours, pieces.offcentre <= settings.offcentre_reach, pieces.beyond > 0.5 - settings.offcentre_reach
    )
    active = centred | alone
    active |= _largest_of_rootless(pieces, active)
    planted = np.zeros(grid.count, dtype=bool)
    planted[pieces.cell[active & (pieces.offcentre <= settings.stray_reach)]] = True
    rooted = np.bincount(pieces.component[active], minlength=int(pieces.component[-1]) + 1)
    whole = np.full(rooted.size, SHARED, dtype=np.int32)
    single = active & (rooted[pieces.component] == 1)
    whole[pieces.component[single]] = np.where(planted[pieces.cell[single]], pieces.cell[single], NONE)
    return active, whole


def _largest_of_rootless(pieces: Pieces, active: Bools) -> Bools:
    """The largest piece of each component without any rooted piece: a plant leaning far out, or a stray."""
    rooted = np.zeros(int(pieces.component[-1]) + 1, dtype=bool)
    rooted[pieces.component[active]] = True
    order = np.lexsort((pieces.pixels, pieces.component))
    last = np.append(pieces.component[order][1:] != pieces.component[order][:-1], True)
    largest = np.zeros(active.size, dtype=bool)
    largest[order[last]] = True
    return largest & ~rooted[pieces.component]
