"""A folder of drawn photos, and one tray over days."""

from __future__ import annotations

import filecmp
from datetime import datetime, timedelta, timezone

import cv2
import numpy as np
import pandas as pd
import piexif
import pytest

from canopy.batch.folder import find_photos
from canopy.batch.trays_csv import lines_for, read_trays
from canopy.readiness import known_recipes
from canopy.synthetic.scenes import plant_diameter_mm
from canopy.synthetic.simulate import _scenes, das_series, simulate, tray_over_days

TAKEN_AT = datetime(2026, 5, 4, 6, 30, tzinfo=timezone(timedelta(hours=2)))


def _simulate(out, kinds=("rosettes",), **more):
    size = {"width_px": 320, "height_px": 240}
    return list(
        simulate(
            out, kinds, **{"count": 1, "seed": 3, "first_taken_at": TAKEN_AT, **size, **more}, recipes=known_recipes()
        )
    )


@pytest.fixture(scope="module")
def two_days(tmp_path_factory):
    folder = tmp_path_factory.mktemp("two_days") / "new" / "photos"
    return folder, _simulate(folder, days=2)


def test_photos_masks_and_tables_are_written(two_days):
    folder, photos = two_days
    assert [photo.parent for photo in photos] == [folder, folder]
    names = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
    masks = [f"masks/{photo.stem}.png" for photo in photos]
    assert names == sorted([*(photo.name for photo in photos), *masks, "trays.csv", "truth.csv"])


def test_the_photos_can_be_scored_as_they_lie(two_days):
    folder, photos = two_days
    sources, _ = find_photos([folder])
    assert [source.path for source in sources] == sorted(photos)
    trays = read_trays(folder / "trays.csv", recipes=known_recipes())
    assert trays.problems == []
    assert {line.tray for photo in photos for line in lines_for(photo.name, trays)} == {"rosettes_00003"}
    assert len({line.record.sown_on for photo in photos for line in lines_for(photo.name, trays)}) == 1


def test_a_day_lies_between_the_photos(two_days):
    times = [piexif.load(str(photo))["Exif"][piexif.ExifIFD.DateTimeOriginal] for photo in two_days[1]]
    assert times == [b"2026:05:04 06:30:00", b"2026:05:05 06:30:00"]


def test_the_truth_counts_the_pixels_of_the_masks(two_days):
    folder, photos = two_days
    truth = pd.read_csv(folder / "truth.csv")
    for photo in photos:
        mask = cv2.imread(str(folder / "masks" / f"{photo.stem}.png"), cv2.IMREAD_UNCHANGED)
        rows = truth[truth.photo == photo.stem]
        assert rows.visible_px.tolist() == np.bincount(mask.ravel(), minlength=len(rows) + 1)[1:].tolist()


def test_plants_grow_from_day_to_day(two_days):
    truth = pd.read_csv(two_days[0] / "truth.csv")
    first, second = (day.set_index("cell").area_alone_mm2 for _, day in truth.groupby("photo"))
    assert (
        second.dropna() >= 0.97 * first.reindex(second.dropna().index).fillna(0)
    ).all()  # old leaves may sink a little
    assert second.sum() > 1.05 * first.sum()


def test_the_same_seed_writes_the_same_bytes(two_days, tmp_path):
    folder, _ = two_days
    _simulate(tmp_path, days=2)
    files = [path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()]
    assert len(files) == 6
    assert filecmp.cmpfiles(folder, tmp_path, files, shallow=False)[0] == files


def test_seeds_count_on():
    scenes = _scenes(["rosettes", "seedlings"], 2, 3, 64, 64, 1, TAKEN_AT)
    assert [scene.name for scene, _ in scenes] == [
        "rosettes_00003",
        "rosettes_00004",
        "seedlings_00003",
        "seedlings_00004",
    ]


def test_a_tray_over_days_keeps_its_plants_and_changes_its_camera():
    scenes = list(tray_over_days("rosettes", [8.0, 10.0], seed=4, width_px=320, height_px=240))
    young, old = scenes
    assert [plant.index for plant in young.plants] == [plant.index for plant in old.plants]
    widths = [np.array([plant_diameter_mm(plant) for plant in scene.plants]) for scene in scenes]
    assert (widths[1] > widths[0]).mean() > 0.95  # a leaf may turn so that its box gets no wider
    assert young.camera != old.camera
    assert young.look != old.look
    assert young.tray_id == old.tray_id == "rosettes_00004"
    assert [scene.name for scene in scenes] == ["rosettes_00004_das08.0", "rosettes_00004_das10.0"]


def test_purple_light_stays_purple_on_other_days():
    first, second = tray_over_days("purple", [5.0, 6.0], seed=4, width_px=64, height_px=64)
    assert first.light == second.light


def test_a_series_ends_at_the_age_of_its_kind_a_day_apart():
    ages = das_series("rosettes", 3, seed=4)
    assert np.diff(ages) == pytest.approx([1.0, 1.0], abs=1e-9)
    assert das_series("rosettes", 2, seed=4) == ages[1:]
    long = das_series("rosettes", 60, seed=4)
    assert long[-1] == ages[-1]
    assert 0 < long[0] <= 1  # no day before sowing
