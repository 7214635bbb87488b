"""What height and perspective alone do to seen areas: drawn trays without any segmentation, exact on both sides.

    OMP_NUM_THREADS=1 python -m benchmarks.geometry --table cells.csv   # draws trays, prints the errors
    OMP_NUM_THREADS=1 python -m benchmarks.geometry --from cells.csv    # the same from the kept table, in seconds

The leaves of each scene are seen through its camera and laid on the rim plane as a faultless segmentation would, then
corrected as `canopy.measure.height` does and held against the area from straight above. Every second tray of a
cultivar fits the constants of `canopy.settings.measure.AreaSettings`; errors are printed for the others.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import least_squares, nnls

from canopy.measure.height import height_effect
from canopy.records import Height
from canopy.settings.measure import AreaSettings
from canopy.synthetic.camera import Rays, cast_rays
from canopy.synthetic.files import tray_line
from canopy.synthetic.kinds import KINDS
from canopy.synthetic.leaves import Leaf, leaf_bounds_mm, paint_leaf
from canopy.synthetic.render import meet_leaf, move_leaf
from canopy.synthetic.scene import Scene, tile_at
from canopy.synthetic.scenes import make_scene
from canopy.synthetic.truth import measure_truth

FloatArray = NDArray[np.float64]

FIRST_SEED = 700_000
TRAYS_OF_KIND = {
    "finish": 40, "plain": 8, "clutter": 6, "cubes": 6, "mixed_media": 6, "warm": 6, "neighbours": 6, "side": 6,
    "red_leaf": 6, "rosettes": 4, "wide_lens": 6, "tilted": 4, "overlap": 6, "wilting": 2, "seedlings": 4,
}  # fmt: skip
TIERED = ("basil", "basil_purple")
"""Drawn crops whose leaves come in tiers up a stem."""
TIERED_SHARE = 0.75
"""`tiered` of their recipes, fitted together with the settings below."""
FITTED = ("side_bare_mm", "side_from")
"""Settings fitted here; freeing leaf_level and height_exponent too changes median errors by less than 0.1 %."""
_DEAD = 3
_MARGIN_PX = 2


@dataclass(frozen=True)
class _Print:
    """One leaf as the camera sees it: its window of the picture, coverage, and whose living pixels those are."""

    window: tuple[slice, slice]
    coverage: NDArray[np.float32]
    living: NDArray[np.bool_]
    plant: int
    height_mm: NDArray[np.float32]


def seen_cells(scene: Scene) -> pd.DataFrame:
    """Per cell what the camera sees of its plant, laid on the rim plane.

    Returns
    -------
    pandas.DataFrame
        `cell_number`, `seen_mm2`, `x_mm` and `y_mm` (middle of the seen area), `alone_mm2` (seen if neighbours were
        taken away; missing on mats).
    """
    rays = cast_rays(scene.camera)
    pixel_mm2 = _rim_area(rays)
    prints = [p for leaf, alive in _from_the_highest(scene) if (p := _print(leaf, scene, rays, alive=alive))]
    cells = scene.layout.cells
    sums = np.zeros((cells + 1, 3))
    sky = np.ones(pixel_mm2.shape, np.float32)
    for p in prints:
        part = np.where(p.living, p.coverage * sky[p.window], 0) * pixel_mm2[p.window]
        sky[p.window] *= 1 - p.coverage
        x, y = rays.x0[p.window], rays.y0[p.window]
        owners = _owners(p, scene, rays)
        for k, weight in enumerate((part, part * x, part * y)):
            sums[:, k] += np.bincount(owners.ravel(), weight.ravel(), cells + 1)
    seen = sums[1:, 0]
    middle = sums[1:, 1:] / np.where(seen > 0, seen, np.nan)[:, None]
    alone = np.full(cells, np.nan) if scene.layout.kind == "mat" else _alone(prints, pixel_mm2, cells)
    return pd.DataFrame(
        {"cell_number": np.arange(1, cells + 1), "seen_mm2": seen, "x_mm": middle[:, 0], "y_mm": middle[:, 1],
         "alone_mm2": alone}
    )  # fmt: skip


def _rim_area(rays: Rays) -> FloatArray:
    """Area of the rim plane that each pixel sees, mm²."""
    x_down, x_right = np.gradient(rays.x0.astype(np.float64))
    y_down, y_right = np.gradient(rays.y0.astype(np.float64))
    return np.abs(x_right * y_down - x_down * y_right)


def _from_the_highest(scene: Scene) -> Iterable[tuple[Leaf, bool]]:
    pool = [(leaf, plant.alive) for plant in scene.plants for leaf in plant.leaves]
    for other in scene.neighbours:
        for plant in other.plants:
            pool += [(move_leaf(leaf, other.dx_mm, other.dy_mm), plant.alive) for leaf in plant.leaves]
    return sorted(pool, key=lambda item: -item[0].layer_mm)


def _print(leaf: Leaf, scene: Scene, rays: Rays, *, alive: bool) -> _Print | None:
    x0, y0, z0, x1, y1, z1 = leaf_bounds_mm(leaf)
    box = np.array([[x, y, z] for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)])
    px = scene.camera.project(box)
    size = scene.camera.width_px, scene.camera.height_px
    left, top = (int(max(0, v)) for v in np.floor(px.min(axis=0)) - _MARGIN_PX)
    right, bottom = (int(min(s, v)) for s, v in zip(size, np.ceil(px.max(axis=0)) + _MARGIN_PX + 1, strict=True))
    if right <= left or bottom <= top:
        return None
    window = slice(top, bottom), slice(left, right)
    x, y, z = meet_leaf(leaf, rays.crop(*window))
    px_mm = max(1e-3, (scene.camera.z_mm - leaf.top_mm) / scene.camera.focal_px)
    paint = paint_leaf(leaf, x, y, px_mm=px_mm)
    if not paint.coverage.any():
        return None
    return _Print(window, paint.coverage, (paint.damage != _DEAD) & alive, leaf.plant, z)


def _owners(p: _Print, scene: Scene, rays: Rays) -> NDArray[np.uint16]:
    """Whose pixels: the plant's, or on a mat the tile below the leaf."""
    if scene.layout.kind == "mat" and p.plant > 0:
        return tile_at(scene.layout, *rays.crop(*p.window).at(p.height_mm))
    return np.full(p.coverage.shape, p.plant, np.uint16)


def _alone(prints: list[_Print], pixel_mm2: FloatArray, cells: int) -> FloatArray:
    """Seen area of each plant with the others taken away."""
    out = np.zeros(cells)
    of_plant: dict[int, list[_Print]] = {}
    for p in prints:
        of_plant.setdefault(p.plant, []).append(p)
    of_plant.pop(0, None)
    sky = np.ones(pixel_mm2.shape, np.float32)
    for plant, own in of_plant.items():
        for p in own:
            part = np.where(p.living, p.coverage * sky[p.window], 0) * pixel_mm2[p.window]
            out[plant - 1] += part.sum()
            sky[p.window] *= 1 - p.coverage
        for p in own:
            sky[p.window] = 1
    return out


def tray_table(kind: str, seed: int, width_px: int) -> pd.DataFrame:
    """One drawn tray: cells seen and true side by side, with what the tool would be told."""
    scene = make_scene(kind, seed=seed, width_px=width_px, height_px=width_px * 3 // 4)
    truth = measure_truth(scene)
    line = tray_line(scene, truth, file_name="", taken_at=None)
    table = pd.concat([truth.drop(columns=["photo", "tray"]), seen_cells(scene)], axis=1)
    camera = scene.camera
    return table.assign(
        kind=kind, seed=seed, stage=line["stage"], canopy_mm=line["canopy_height_mm"], camera_mm=round(camera.z_mm),
        nadir_x_mm=camera.x_mm, nadir_y_mm=camera.y_mm,
    )  # fmt: skip


def jobs(first_seed: int) -> Iterator[tuple[str, int]]:
    """Kind and seed of every tray; a seed of its own for each."""
    for kind, count in TRAYS_OF_KIND.items():
        for n in range(count):
            yield kind, first_seed + 100 * KINDS.index(kind) + n


def corrected_ln(cells: pd.DataFrame, settings: AreaSettings, *, tiered: float | None = TIERED_SHARE) -> pd.DataFrame:
    """Error ln(corrected/true) of every cell and its stated standard uncertainty, as `canopy.measure` corrects a tray.

    `tiered` is the share told of crops that are stems with leaves in tiers; None: as if no recipe told it of any crop.
    """
    parts = []
    for _, tray in cells.groupby("seed", sort=False):
        first = tray.iloc[0]
        share = None if tiered is None else tiered * float(first.cultivar in TIERED)
        nadir = (first.nadir_x_mm, first.nadir_y_mm)
        height = Height(first.canopy_mm, "typed", first.camera_mm, "typed", nadir, share)
        slant = np.hypot(tray.x_mm - nadir[0], tray.y_mm - nadir[1]).to_numpy() / first.camera_mm
        seen = tray.seen_mm2.to_numpy()
        planted = np.ones(len(tray), dtype=bool)
        effect = height_effect(seen, planted, slant, height=height, stage=first.stage, settings=settings)
        error = np.log(effect.factor * seen / tray.area_mm2.to_numpy())
        parts.append(pd.DataFrame({"error": error, "sd": effect.sd_ln}, index=tray.index))
    return pd.concat(parts).loc[cells.index]


def fit(cells: pd.DataFrame) -> None:
    """Print where the side starts and how full it is, by least squares of ln area, every tray counting alike."""
    weight = 1 / np.sqrt(cells.groupby("seed").cell.transform("size").to_numpy())

    def settings(values: FloatArray) -> AreaSettings:
        return AreaSettings(**dict(zip(FITTED, map(float, values), strict=True)))

    def errors(values: FloatArray) -> FloatArray:
        return corrected_ln(cells, settings(values[:-1]), tiered=float(values[-1])).error.to_numpy() * weight

    start = [getattr(AreaSettings(), name) for name in FITTED]
    found = least_squares(errors, [*start, TIERED_SHARE], diff_step=1e-3)
    print("fitted: " + ", ".join(f"{n} {v:.3f}" for n, v in zip((*FITTED, "tiered"), found.x, strict=True)))


def spread(cells: pd.DataFrame, settings: AreaSettings) -> None:
    """Print which uncertainties of height and lean explain the squares of errors (least squares, none below 0)."""
    flat = settings.model_copy(update={"camera_rel_sd": 0.0, "side_sd": 0.0, "side_unknown_sd": 0.0})
    alone = [
        corrected_ln(cells, flat.model_copy(update=part)).sd.to_numpy() ** 2
        for part in ({"height_rel_sd": 1.0, "lean_sd": 0.0}, {"height_rel_sd": 0.0, "lean_sd": 1.0})
    ]
    weight = 1 / np.sqrt(cells.groupby("seed").cell.transform("size").to_numpy())
    columns = np.stack([*alone, np.ones(len(cells))], axis=1)
    squares = corrected_ln(cells, settings).error.to_numpy() ** 2
    found = np.sqrt(nnls(columns * weight[:, None], squares * weight)[0])
    print(f"spread: height_rel_sd {found[0]:.2f}, lean_sd {found[1]:.3f}, and {found[2]:.3f} everywhere")


def print_errors(cells: pd.DataFrame, settings: AreaSettings) -> None:
    """As seen, with flat canopies only, with sides: by cultivar and by kind."""
    seen = np.log(cells.seen_mm2 / cells.area_mm2)
    flat, side = (corrected_ln(cells, settings, tiered=tiered) for tiered in (None, TIERED_SHARE))
    ways = {"seen": seen, "flat": flat.error, "side": side.error}
    floor = settings.area_floor_rel_sd
    both = cells.assign(**ways, told=side.error.abs() <= 1.96 * np.hypot(side.sd, floor))
    both["untold"] = flat.error.abs() <= 1.96 * np.hypot(flat.sd, floor)
    for names in (["cultivar"], ["kind"], ["stage"], []):
        groups = both.groupby(names) if names else [("all", both)]
        rows = [
            {"": name[0] if names else name, "trays": part.seed.nunique(), "cells": len(part)}
            | {f"bias {way}": part[way].mean() for way in ways}
            | {f"median {way}": part[way].abs().median() for way in ways}
            | {"in range": part.told.mean(), "no recipe": part.untold.mean()}
            for name, part in groups
        ]
        print(pd.DataFrame(rows).to_string(index=False, float_format="{:.3f}".format), "\n")


def _every_second_tray(cells: pd.DataFrame) -> pd.Series:
    """True for the first, third, … tray of each cultivar."""
    return cells.groupby("cultivar").seed.transform(lambda seeds: pd.factorize(seeds, sort=True)[0] % 2) == 0


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--width", type=int, default=1200, help="picture width in pixels (4:3)")
    parser.add_argument("--table", type=Path, help="CSV to keep the cells in")
    parser.add_argument("--from", type=Path, dest="kept", help="CSV kept before: nothing is drawn")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    if given.kept:
        cells = pd.read_csv(given.kept)
    else:
        cells = pd.concat([tray_table(kind, seed, given.width) for kind, seed in jobs(given.first_seed)])
    if given.table:
        cells.to_csv(given.table, index=False)
    cells = cells[(cells.state == "planted") & (cells.seen_mm2 >= AreaSettings().seedling.min_area_mm2)]
    cells = cells.reset_index(drop=True)
    for_fit = _every_second_tray(cells)
    fit(cells[for_fit & cells.cultivar.isin(TIERED)])
    spread(cells[for_fit & ~cells.cultivar.isin(TIERED)], AreaSettings())
    print("settings in use: " + ", ".join(f"{name} {getattr(AreaSettings(), name):g}" for name in FITTED))
    print("\nerrors ln(area/true) of the trays not fitted, settings in use")
    print_errors(cells[~for_fit], AreaSettings())


if __name__ == "__main__":
    main()
