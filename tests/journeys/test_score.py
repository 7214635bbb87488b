"""From a folder of photos to a folder of results, held against what was drawn and against the promised columns."""

from __future__ import annotations

import json
import math
import shutil

import cv2
import numpy as np
import pandas as pd
import pytest

from canopy.batch.score import score_photos

from .conftest import write_farm

# The promise to those who read the tables, written out here a second time on purpose.
CELL_COLUMNS = [
    "photo",
    "tray",
    "taken_at",
    "row",
    "col",
    "cell",
    "state",
    "das",
    "area_mm2",
    "area_low_mm2",
    "area_high_mm2",
    "cover",
    "weight_g",
    "weight_low_g",
    "weight_high_g",
    "exg",
    "ngrdi",
    "gli",
    "dgci",
    "hue_deg",
    "yellow_fraction",
    "brown_fraction",
    "readiness",
    "readiness_low",
    "readiness_high",
    "decision",
    "limiting",
    "reason",
]
TRAY_COLUMNS = [
    "photo",
    "tray",
    "taken_at",
    "quality",
    "quality_reason",
    "located_by",
    "mm_per_px",
    "tilt_deg",
    "cells",
    "planted",
    "emergence",
    "cover",
    "mean_area_mm2",
    "cv_area",
    "cu",
    "du_lq",
    "gini",
    "moran_i",
    "moran_p",
    "edge_effect",
    "evenness",
    "pattern",
    "ready",
    "ready_on",
    "decision",
]
R1, R2 = "R1_2026-03-20_0530.png", "rack2/R2_2026-03-20_0531.png"


@pytest.fixture(scope="session")
def cells(scored):
    return pd.read_csv(scored / "cells.csv").set_index(["tray", "cell"])


def test_every_promised_file_is_there(scored):
    stem = json.loads((scored / "run.json").read_text())["photos"][1]["stem"]
    files = {path.relative_to(scored).as_posix() for path in scored.rglob("*") if path.is_file()}
    pictures = {f"{folder}/{name}.{end}" for folder, end in (("overlays", "jpg"), ("masks", "png"))
                for name in ("R1_2026-03-20_0530", stem)}  # fmt: skip
    assert files == {"cells.csv", "trays.csv", "picks.csv", "report.html", "run.json", *pictures}


def test_columns_come_in_the_promised_order(scored):
    assert list(pd.read_csv(scored / "cells.csv").columns)[: len(CELL_COLUMNS)] == CELL_COLUMNS
    assert list(pd.read_csv(scored / "trays.csv").columns)[: len(TRAY_COLUMNS)] == TRAY_COLUMNS


def test_photos_are_named_by_their_path_below_the_folder(scored):
    assert pd.read_csv(scored / "trays.csv")["photo"].tolist() == [R1, R2]


def test_areas_are_those_that_were_drawn(cells, farm):
    drawn = pd.Series({name: math.pi * radius**2 for name, radius in farm.radii_mm.items()})
    measured = cells.loc["R1", "area_mm2"].dropna()
    assert measured.index.tolist() == drawn.index.tolist()
    # 3 px/mm: a pixel is 0.33 mm; 2 % of the area of a disc of 7 mm is a rim shifted by 0.07 mm, a fifth of a pixel.
    # The smallest disc (3 mm) is held to the same shift, 5 %.
    assert abs(measured / drawn - 1).drop("B2").max() < 0.02
    assert measured["B2"] == pytest.approx(drawn["B2"], rel=0.05)


def test_the_range_holds_what_was_drawn(cells, farm):
    for name, radius in farm.radii_mm.items():
        row = cells.loc["R1", name]
        assert row["area_low_mm2"] < math.pi * radius**2 < row["area_high_mm2"]


def test_empty_cells_are_empty_and_missing_values_too(scored, cells):
    assert cells.loc["R1", "state"].value_counts().to_dict() == {"planted": 13, "empty": 2}
    empty = cells.loc[("R1", "A5")]
    assert empty["decision"] == "empty"
    assert pd.isna(empty[["area_mm2", "readiness", "exg", "x_mm"]]).all()
    text = (scored / "cells.csv").read_text()
    assert not {"nan", "NaN", "<NA>", "None", "inf"} & set(text.replace("\n", ",").split(","))


def test_days_after_sowing_and_time_from_the_file_name(cells):
    assert cells["das"].unique().tolist() == [22]  # 26 February to 20 March 2026
    assert cells.loc[("R1", "A1"), "taken_at"] == "2026-03-20T05:30:00"


def test_what_is_large_enough_is_moved_on_and_what_is_not_waits(cells):
    assert cells.loc[("R1", "B2"), "decision"] == "wait"
    assert cells.loc[("R1", "B2"), "limiting"] == "size"
    assert "held back by size" in cells.loc[("R1", "B2"), "reason"]
    assert cells.loc[("R1", "A1"), "decision"] == "transplant"


def test_the_pick_list_goes_row_by_row_and_points_at_the_plants(scored, farm):
    picks = pd.read_csv(scored / "picks.csv")
    r1 = picks[picks["tray"] == "R1"]
    walked = [name for name in farm.layout.names() if name in set(r1["cell"])]
    assert r1["cell"].tolist() == walked
    assert r1["order"].tolist() == list(range(1, len(r1) + 1))
    centres = dict(zip(farm.layout.names(), farm.layout.centres_mm(), strict=True))
    wanted = np.array([centres[name] for name in r1["cell"]])
    # Discs are drawn at the cells' centres; markers are drawn on whole pixels of 0.33 mm, half of one either way.
    np.testing.assert_allclose(r1[["x_mm", "y_mm"]], wanted, atol=0.2)


def test_clearance_is_the_gap_between_the_discs(scored, farm):
    picks = pd.read_csv(scored / "picks.csv").set_index(["tray", "cell"])
    # C4 (7.3 mm) lies 50 mm from C3 (6.8), C5 (7.6) and B4 (7.1): the nearest rim is that of C5.
    assert picks.loc[("R1", "C4"), "clearance_mm"] == pytest.approx(50 - 7.3 - 7.6, abs=0.7)  # a pixel at each rim


def test_masks_number_the_cells_in_the_photos_own_pixels(scored, farm):
    mask = cv2.imread(str(scored / "masks" / "R1_2026-03-20_0530.png"), cv2.IMREAD_UNCHANGED)
    photo = cv2.imread(str(farm.folder / R1))
    assert mask.dtype == np.uint16
    assert mask.shape == photo.shape[:2]
    numbers = {farm.layout.names().index(name) + 1: radius for name, radius in farm.radii_mm.items()}
    assert set(np.unique(mask)) == {0, *numbers}
    for number, radius in numbers.items():
        # Hard pixels, of 1/3 mm: the rim may lie off by a third of one.
        rim_mm2 = 2 * math.pi * radius * (1 / 3) / 3
        assert np.count_nonzero(mask == number) / 9 == pytest.approx(math.pi * radius**2, abs=rim_mm2)
    y, x = np.nonzero(mask == 1)
    assert (x.mean(), y.mean()) == pytest.approx(((35 + 40) * 3 - 0.5, (35 + 40) * 3 - 0.5), abs=0.5)


def test_the_overlay_shows_the_tray_and_fits_the_setting(scored):
    overlay = cv2.imread(str(scored / "overlays" / "R1_2026-03-20_0530.jpg"))
    assert overlay.shape[1] == 2000
    blue = np.all(np.abs(overlay.astype(int) - (178, 114, 0)) < 25, axis=2)  # frames of what is to be moved on
    assert blue.mean() > 0.02


def test_the_run_file_explains_the_tables_and_nothing_else(scored, farm):
    run = json.loads((scored / "run.json").read_text())
    assert run["photos_read"] == 2
    assert [photo["status"] for photo in run["photos"]] == ["read", "read"]
    assert run["photos"][0] == {"photo": R1, "tray": "R1", "stem": "R1_2026-03-20_0530", "status": "read"}
    assert run["photos"][1]["stem"].startswith("rack2-R2_2026-03-20_0531-")
    assert run["settings"]["outputs"]["overlay_long_side_px"] == 2000
    assert any(recipe["crop"] == "disc_lettuce" for recipe in run["recipes"])
    assert str(farm.folder.parent) not in (scored / "run.json").read_text()


def test_the_same_bytes_from_another_folder_with_two_workers(scored, farm, tmp_path):
    write_farm(tmp_path / "moved")
    assert score_photos([tmp_path / "moved"], out=tmp_path / "out", masks=True, workers=2).exit_code == 0
    files = sorted(path.relative_to(scored) for path in scored.rglob("*") if path.is_file())
    assert files == sorted(
        path.relative_to(tmp_path / "out") for path in (tmp_path / "out").rglob("*") if path.is_file()
    )
    for name in files:
        assert (scored / name).read_bytes() == (tmp_path / "out" / name).read_bytes(), name


def test_scoring_into_a_folder_of_results_again_replaces_them(scored, farm, tmp_path):
    shutil.copytree(scored, tmp_path / "out")
    (tmp_path / "out" / "cells.csv").write_text("old")
    run = score_photos([farm.folder / R1], out=tmp_path / "out", trays=farm.folder / "trays.csv")
    assert run.photos_read == 1
    # One photo is meant, not the whole list: that R2 is not given is no fault.
    assert run.exit_code == 0
    assert len(pd.read_csv(tmp_path / "out" / "cells.csv")) == 15
