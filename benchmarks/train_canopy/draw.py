"""Draw the training pictures: every kind of scene, near and far, at one size.

Beside each picture lie the canopy share as a soft mask (NAME.png) and whose leaf each pixel shows (NAME.npz: `plant`,
cell numbers; `centres_px`, the middle of each cell; `spacing_px`, from cell to cell, 0 on mats; `mm_per_px`).
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.records import Layout
from canopy.synthetic.kinds import CHANGES, KINDS, draft_of
from canopy.synthetic.render import render
from canopy.synthetic.scene import Scene
from canopy.synthetic.scenes import compose, das_for_diameter, grow_tray, pitch_mm

WIDTH_PX, HEIGHT_PX = 900, 675
NEARER = (1.0, 1.4, 1.4, 2.0, 2.0, 2.0, 2.5, 3.0)
"""How much nearer than the whole tray the camera goes; nearer pictures are sharp at the networks' scales."""

OFTENER = {
    "red_leaf": 0.22,
    "side": 0.12,
    "purple": 0.1,
    "cubes": 0.06,
    "algae": 0.12,
    "tip_burn": 0.08,
    "rosettes": 0.08,
    "overlap": 0.25,
    "seedlings": 0.1,
    "finish": 0.1,
    "gaps": 0.08,
}
"""Kinds laid over others more often than chance would: what earlier fits confused most on unseen seeds."""

HARD_CROPS = ("kale", "kale", "kale_red", "spinach", "rocket", "basil_purple", "red_leaf_dark")
HARD_CROP_SHARE = 0.25
"""Thin or dark leaves, drawn oftener."""


def training_scene(seed: int, *, nearer_by: Sequence[float] = NEARER) -> Scene:
    """One random scene of a random kind; half of them mixtures, a fifth without any tray."""
    rng = np.random.default_rng([seed, 77])
    kind = "mixed" if rng.random() < 0.5 else str(rng.choice(KINDS))
    draft = draft_of(kind, rng)
    for extra, probability in OFTENER.items():
        if rng.random() < probability:
            draft = CHANGES[extra](draft, rng)
    if draft.layout.kind != "mat" and rng.random() < HARD_CROP_SHARE:
        draft = replace(draft, cultivar=str(rng.choice(HARD_CROPS)))
    nearer = float(rng.choice(nearer_by))
    draft = replace(draft, layout=part_of(draft.layout, nearer), fill=float(rng.uniform(0.6, 1.3)))
    if rng.random() < 0.2:
        draft = replace(draft, surroundings=replace(draft.surroundings, tray_style="", markers=False))
    das = das_for_diameter(draft.cultivar, draft.spread * pitch_mm(draft.layout), seed=seed)
    plants = grow_tray(draft, das=das, seed=seed)
    return compose(draft, plants, kind=kind, seed=seed, width_px=WIDTH_PX, height_px=HEIGHT_PX)


def part_of(layout: Layout, nearer: float) -> Layout:
    """A smaller tray with the same cells, which fills the picture from nearer by."""
    rows, columns = (max(1, round(n / nearer)) for n in (layout.rows, layout.columns))
    rim = layout.outline_width_mm - layout.columns * layout.pitch_x_mm
    return layout.model_copy(
        update={
            "rows": rows,
            "columns": columns,
            "outline_width_mm": columns * layout.pitch_x_mm + rim,
            "outline_height_mm": rows * layout.pitch_y_mm + rim,
        }
    )


def owners_of(scene: Scene, plant: NDArray[np.uint16]) -> dict[str, NDArray[np.generic]]:
    """Whose leaf each pixel shows, and where the middle of every cell is seen."""
    layout, camera = scene.layout, scene.camera
    centres_mm = np.array(layout.centres_mm(), float)
    centres_px = camera.project(np.column_stack([centres_mm, np.zeros(len(centres_mm))]))
    px_per_mm = camera.focal_px / camera.z_mm
    apart = 0.0 if layout.kind == "mat" else min(layout.pitch_x_mm, layout.pitch_y_mm) * px_per_mm
    return {
        "plant": plant,
        "centres_px": centres_px.astype(np.float32),
        "spacing_px": np.float32(apart),
        "mm_per_px": np.float32(1 / px_per_mm),
    }


def draw_one(seed: int, folder: Path, nearer_by: Sequence[float] = NEARER) -> float:
    """Write one picture and its mask; returns the seconds it took."""
    cv2.setNumThreads(1)
    began = time.time()
    target = folder / f"{seed:06d}.jpg"
    if target.with_suffix(".done").exists():
        return 0.0
    scene = training_scene(seed, nearer_by=nearer_by)
    picture = render(scene)
    np.savez_compressed(target.with_suffix(".npz"), **owners_of(scene, picture.plant))
    cv2.imwrite(str(target.with_suffix(".png")), picture.canopy)
    cv2.imwrite(str(target), picture.rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 84])
    target.with_suffix(".done").touch()
    return time.time() - began


def main() -> None:
    """Command line of the drawing."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--count", type=int, default=600)
    parser.add_argument("--first-seed", type=int, default=100_000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--nearer", type=float, nargs="+", default=NEARER, help="how much nearer the camera may go")
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    seeds = range(given.first_seed, given.first_seed + given.count)
    with ProcessPoolExecutor(given.workers) as pool:
        times = list(pool.map(draw_one, seeds, [given.folder] * given.count, [given.nearer] * given.count))
    print(f"{given.count} pictures, {np.mean(times):.2f} s each, slowest {max(times):.1f} s")


if __name__ == "__main__":
    main()
