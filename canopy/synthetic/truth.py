"""The exact answer: areas in mm² as seen from straight above, with and without neighbours, heights and damage."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.records import Layout, cell_name
from canopy.synthetic.camera import straight_down
from canopy.synthetic.leaves import Leaf, leaf_bounds_mm, paint_leaf
from canopy.synthetic.plants import Plant
from canopy.synthetic.render import meet_leaf, move_leaf
from canopy.synthetic.scene import Scene, tile_at

Float32Array = NDArray[np.float32]

TRUTH_MM_PER_PX = 0.25
"""Raster of the truth: coverage is a fraction per pixel, so areas of leaves over 2 mm are exact to about 0.1 %."""
_MARGIN_PX = 2
_DEAD = 3

TRUTH_COLUMNS = (
    "photo", "tray", "row", "col", "cell", "state", "cultivar", "das", "area_mm2", "area_alone_mm2", "height_mm",
    "leaf_height_mm", "weight_g", "yellow_fraction", "brown_fraction", "visible_px",
)  # fmt: skip


@dataclass(frozen=True)
class _Footprint:
    """One leaf from straight above: its coverage on a window of the truth raster."""

    plant: int
    alive: bool
    top: int
    left: int
    coverage: Float32Array
    height: Float32Array
    damage: NDArray[np.uint8]


def measure_truth(scene: Scene, *, mm_per_px: float = TRUTH_MM_PER_PX) -> pd.DataFrame:
    """Per-cell truth of a scene.

    Returns
    -------
    pandas.DataFrame
        One row per cell in reading order. `area_mm2`: visible from straight above at the leaves' own height, what
        other plants hide left out (on a mat: all that stands over the tile, whoever's it is); `area_alone_mm2`: the
        same with neighbours taken away; `height_mm`: top of the plant over the rim; `leaf_height_mm`: mean height of
        its visible area; fractions by visible area. Several shoots of one cell count together. Dead plants have state
        `empty` and no area. `visible_px` is filled by the caller who drew the picture.
    """
    footprints = _footprints(_leaves_that_count(scene), mm_per_px)
    seen = _visible(footprints, mm_per_px, mat=scene.layout if scene.layout.kind == "mat" else None)
    rows = [_row(scene, cell, seen, footprints, mm_per_px) for cell in range(1, scene.layout.cells + 1)]
    return pd.DataFrame(rows, columns=list(TRUTH_COLUMNS))


def _leaves_that_count(scene: Scene) -> list[tuple[Leaf, bool]]:
    """Leaves of the tray, and those of neighbouring trays that may hang over it, each with whether it lives."""
    own = [(leaf, plant.alive) for plant in scene.plants for leaf in plant.leaves]
    if not own:
        return []
    bounds = np.array([leaf_bounds_mm(leaf) for leaf, _ in own])
    (x0, y0), (x1, y1) = bounds[:, :2].min(axis=0), bounds[:, 3:5].max(axis=0)
    others = [
        (move_leaf(leaf, other.dx_mm, other.dy_mm), plant.alive)
        for other in scene.neighbours
        for plant in other.plants
        for leaf in plant.leaves
    ]
    for leaf, alive in others:
        left, top, _, right, bottom, _ = leaf_bounds_mm(leaf)
        if left < x1 and right > x0 and top < y1 and bottom > y0:
            own.append((leaf, alive))
    return own


def _footprints(leaves: list[tuple[Leaf, bool]], mm_per_px: float) -> list[_Footprint]:
    """Leaves from the highest down."""
    pool = sorted(leaves, key=lambda item: -item[0].layer_mm)
    return [print_ for leaf, alive in pool if (print_ := _footprint(leaf, alive, mm_per_px)) is not None]


def _footprint(leaf: Leaf, alive: bool, mm_per_px: float) -> _Footprint | None:
    """Coverage of one leaf; raster pixel [i, j] is centred at (j, i)·mm_per_px for every leaf, so windows line up."""
    x0, y0, _, x1, y1, _ = leaf_bounds_mm(leaf)
    left, top = (int(np.floor(v / mm_per_px)) - _MARGIN_PX for v in (x0, y0))
    right, bottom = (int(np.ceil(v / mm_per_px)) + _MARGIN_PX + 1 for v in (x1, y1))
    rays = straight_down(
        left * mm_per_px, top * mm_per_px, width_px=right - left, height_px=bottom - top, mm_per_px=mm_per_px
    )
    x, y, z = meet_leaf(leaf, rays)
    paint = paint_leaf(leaf, x, y, px_mm=mm_per_px)
    if not paint.coverage.any():
        return None
    return _Footprint(leaf.plant, alive, top, left, paint.coverage, z, paint.damage)


def _visible(
    footprints: list[_Footprint], mm_per_px: float, *, mat: Layout | None = None
) -> dict[int, NDArray[np.float64]]:
    """Per plant, or per tile of a mat: visible area, area × height, yellow and brown area (mm², mm³, mm², mm²)."""
    if not footprints:
        return {}
    top0 = min(f.top for f in footprints)
    left0 = min(f.left for f in footprints)
    bottom = max(f.top + f.coverage.shape[0] for f in footprints)
    right = max(f.left + f.coverage.shape[1] for f in footprints)
    open_sky = np.ones((bottom - top0, right - left0), np.float32)
    sums: dict[int, NDArray[np.float64]] = {}
    for f in footprints:
        window = (
            slice(f.top - top0, f.top - top0 + f.coverage.shape[0]),
            slice(f.left - left0, f.left - left0 + f.coverage.shape[1]),
        )
        part = f.coverage * open_sky[window]
        open_sky[window] *= 1 - f.coverage
        if f.alive and f.plant > 0:
            for owner, gain in _gains(f, np.where(f.damage < _DEAD, part, 0), mm_per_px, mat):
                sums[owner] = sums.get(owner, np.zeros(4)) + gain
    return sums


def _gains(
    f: _Footprint, living: Float32Array, mm_per_px: float, mat: Layout | None
) -> Iterator[tuple[int, NDArray[np.float64]]]:
    """What one leaf adds to its plant, or to the tiles below it: (owner, the four sums of `_visible`)."""
    weights = (living, living * f.height, living * (f.damage == 1), living * (f.damage == 2))
    if mat is None:
        yield f.plant, np.array([w.sum(dtype=np.float64) for w in weights]) * mm_per_px**2
        return
    rows, columns = living.shape
    y, x = np.mgrid[f.top : f.top + rows, f.left : f.left + columns].astype(np.float32) * np.float32(mm_per_px)
    tiles = tile_at(mat, x, y).ravel()
    totals = np.stack([np.bincount(tiles, w.ravel(), mat.cells + 1) for w in weights], axis=1) * mm_per_px**2
    for tile in np.unique(tiles):
        yield int(tile), totals[tile]


def _alone_mm2(footprints: list[_Footprint], plant: int, mm_per_px: float) -> float:
    """Area of one plant with the others taken away."""
    own = [f for f in footprints if f.plant == plant]
    return float(_visible(own, mm_per_px).get(plant, np.zeros(4))[0])


def _plants_of(scene: Scene, cell: int) -> list[Plant]:
    """All plants rooted in a cell: one, none, or the shoots of a mat."""
    return [plant for plant in scene.plants if plant.index == cell]


def _row(
    scene: Scene,
    cell: int,
    seen: dict[int, NDArray[np.float64]],
    footprints: list[_Footprint],
    mm_per_px: float,
) -> dict[str, object]:
    """One line of the truth table."""
    row, col = (cell - 1) // scene.layout.columns + 1, (cell - 1) % scene.layout.columns + 1
    plants = _plants_of(scene, cell)
    living = [plant for plant in plants if plant.alive]
    out: dict[str, object] = dict.fromkeys(TRUTH_COLUMNS)
    out |= {"photo": scene.name, "tray": scene.tray_id, "row": row, "col": col, "cell": cell_name(row, col)}
    out["state"] = "planted" if living and cell in seen and seen[cell][0] > 0 else "empty"
    if plants:
        out |= {"cultivar": plants[0].cultivar, "das": plants[0].das}
    if out["state"] == "empty":
        return out
    area, volume, yellow, brown = seen[cell]
    return out | {
        "area_mm2": area,
        "area_alone_mm2": _alone_mm2(footprints, cell, mm_per_px),
        "height_mm": max(leaf.top_mm for plant in living for leaf in plant.leaves),
        "leaf_height_mm": volume / area,
        "weight_g": sum(plant.weight_g for plant in living),
        "yellow_fraction": yellow / area,
        "brown_fraction": brown / area,
    }
