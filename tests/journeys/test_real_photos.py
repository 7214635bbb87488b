"""The main job on real pixels: the openly licensed photographs of `sample_images/real/` (sources and licence there)."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pandas as pd
import pytest

from canopy.batch.score import score_photos

SAMPLES = Path(__file__).parents[2] / "sample_images" / "real"
LIST = """photo,tray,layout,pitch_mm,crop,stage,sown_on,corners
uneven_4x5.jpg,composite,4x5,62.5x60,butterhead,seedling,,picture
tray_5x4_rectified_gridlines.png,blue,4x5,60,,,,picture
"""  # the scale is unknown: a height of 60 mm is assumed for a cell, and shares of the cell are compared


@pytest.fixture(scope="module")
def cells(tmp_path_factory):
    folder = tmp_path_factory.mktemp("real")
    shutil.copy(SAMPLES / "tray_composite" / "images" / "uneven_4x5.jpg", folder)
    shutil.copy(SAMPLES / "tray_5x4_photo" / "images" / "tray_5x4_rectified_gridlines.png", folder)
    (folder / "trays.csv").write_text(LIST)
    run = score_photos([folder], out=folder.parent / "real_out")
    assert run.exit_code == 0
    return pd.read_csv(folder.parent / "real_out" / "cells.csv")


def test_samples_are_scored_alike_on_whichever_day_they_were_copied(tmp_path):
    results = []
    for seconds in (1_000_000_000, 1_500_000_000):  # 2001 and 2017
        folder = tmp_path / str(seconds)
        shutil.copytree(SAMPLES / "tray_5x4_photo" / "images", folder / "real" / "tray_5x4_photo" / "images")
        shutil.copy(SAMPLES.parent / "canopy.toml", folder)
        lines = (SAMPLES.parent / "trays.csv").read_text().splitlines(keepends=True)
        header = next(line for line in lines if line.startswith("photo,"))
        (folder / "trays.csv").write_text(header + "".join(line for line in lines if "tray_5x4" in line))
        for photo in folder.rglob("*.png"):
            os.utime(photo, (seconds, seconds))
        assert score_photos([folder], out=folder / "out").exit_code == 0
        results.append({p.name: p.read_bytes() for p in (folder / "out").rglob("*") if p.is_file()})
    assert results[0] == results[1]
    assert len(results[0]) == 7  # three tables, report, run file, two overlays


def test_a_tray_of_real_rosettes_with_truth_per_cell(cells):
    truth = pd.read_csv(SAMPLES / "tray_composite" / "truth.csv")
    both = truth.merge(cells[cells["tray"] == "composite"], on=["row", "col"], validate="one_to_one")
    assert (both["canopy_px"] > 0).tolist() == (both["state"] == "planted").tolist()
    grown = both[both["canopy_px"] > 0]
    error = grown["cover"] / grown["canopy_fraction"] - 1
    # These lobed rosettes have 0.075 pixels of outline to one of area at the median (perimeter of the masks over their
    # area). The masks follow the leaves to a pixel, as their source says, and we may do so on the other side: 15 %.
    assert error.abs().median() < 0.15
    assert grown["cover"].corr(grown["canopy_fraction"], method="spearman") > 0.98


def test_a_real_tray_counted_by_eye(cells):
    eye = pd.read_csv(SAMPLES / "tray_5x4_photo" / "occupancy.csv")
    both = eye.merge(cells[cells["tray"] == "blue"], on=["row", "col"], validate="one_to_one")
    seen = both["state"] == "planted"
    assert seen[both["occupied"] == 1].all()
    # Yellow lines were drawn over the print between the cells; what they add to empty cells is not counted against it.
    sizes = both[both["occupied"] == 1].groupby("size_class_by_eye")["area_mm2"].median()
    assert sizes["S"] < sizes["M"] < sizes["L"]
