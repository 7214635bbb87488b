"""A small farm of our own invention, drawn once and scored once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest

from canopy.batch.score import score_photos
from canopy.records import Layout
from canopy.tray import layout_from

from .drawing import draw_tray

LAYOUT = layout_from("3x5", pitch_mm=(50.0, 50.0), outline_mm=(270.0, 170.0))
# Radii in mm: one plant too small to move on, two cells empty. Leaves are narrow: no disc is wider than 15 mm.
RADII_MM = {
    name: radius
    for name, radius in zip(
        LAYOUT.names(), [7.5, 7.0, 7.7, 6.5, 0, 7.0, 3.0, 7.4, 7.1, 6.6, 0, 7.7, 6.8, 7.3, 7.6], strict=True
    )
    if radius
}
SETTINGS = """
[[crop]]
crop = "disc lettuce"
stage = "seedling"
title = "Disc lettuce, seedling"
like = "butterhead"
colour = false
size = { better = "larger", low = 40, target = 110, weight = 2 }
age = { better = "target", low = 10, target = 18, target_high = 28, high = 40, weight = 1 }
gates = { minimum_das = 14, minimum_area_mm2 = 50, damage_limit = 0.2 }
"""
HEADER = "photo,tray,layout,pitch_mm,outline_mm,crop,stage,sown_on,canopy_height_mm,camera_height_mm\n"
# Drawn without perspective: the lens hangs 20 m up, so that a few millimetres of height shift nothing (2 mm: 0.01 %).
LINE = "{photo},{tray},3x5,50,270x170,disc lettuce,seedling,2026-02-26,0,20000\n"


@dataclass(frozen=True)
class Farm:
    """A folder of photos and what was drawn in them."""

    folder: Path
    layout: Layout
    radii_mm: dict[str, float]


def write_photo(path: Path, picture: np.ndarray) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    assert cv2.imwrite(str(path), picture[:, :, ::-1])


def write_farm(folder: Path) -> Farm:
    """Two trays on one morning, one of them in a sub-folder; the time is in the file names."""
    one = draw_tray(LAYOUT, RADII_MM, px_per_mm=3.0)
    other = draw_tray(LAYOUT, {name: 0.9 * radius for name, radius in RADII_MM.items()}, px_per_mm=3.0, seed=8)
    write_photo(folder / "R1_2026-03-20_0530.png", one)
    write_photo(folder / "rack2" / "R2_2026-03-20_0531.png", other)
    lines = LINE.format(photo="R1_*.png", tray="R1") + LINE.format(photo="R2_*.png", tray="R2")
    (folder / "trays.csv").write_text(HEADER + lines)
    (folder / "canopy.toml").write_text(SETTINGS)
    return Farm(folder, LAYOUT, RADII_MM)


@pytest.fixture(scope="session")
def farm(tmp_path_factory) -> Farm:
    return write_farm(tmp_path_factory.mktemp("farm") / "photos")


@pytest.fixture(scope="session")
def scored(farm, tmp_path_factory) -> Path:
    """Folder of results of the farm, masks included."""
    out = tmp_path_factory.mktemp("scored") / "out"
    run = score_photos([farm.folder], out=out, masks=True)
    assert run.exit_code == 0
    return out
