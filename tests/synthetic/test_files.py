"""Files as a camera leaves them, read back by other libraries."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import cv2
import numpy as np
import piexif
import pytest
from PIL import Image

from canopy.synthetic.files import jpeg_bytes, mask_png, tray_line, with_pixels, write_scene
from canopy.synthetic.render import Picture, render
from canopy.synthetic.truth import measure_truth

from .built import LAYOUT, camera_over, ellipse_leaf, plant_of, scene_of

TAKEN_AT = datetime(2026, 5, 4, 6, 30, 12, tzinfo=timezone(timedelta(hours=2)))


@pytest.fixture(scope="module")
def scene():
    x, y = LAYOUT.centres_mm()[4]
    plant = plant_of(5, ellipse_leaf(plant=5, x_mm=x - 20, y_mm=y, z_mm=30.0))
    return replace(scene_of(plant, camera=camera_over(width_px=320, height_px=240)), name="one")


@pytest.fixture(scope="module")
def picture(scene) -> Picture:
    return render(scene)


def test_exif_says_when_and_with_what_lens(scene, picture):
    exif = piexif.load(jpeg_bytes(picture, scene, taken_at=TAKEN_AT))
    assert exif["0th"][piexif.ImageIFD.Orientation] == 1
    assert exif["Exif"][piexif.ExifIFD.DateTimeOriginal] == b"2026:05:04 06:30:12"
    assert exif["Exif"][piexif.ExifIFD.OffsetTimeOriginal] == b"+02:00"
    # 35 mm equivalent by the diagonal, sqrt(36² + 24²) mm; the tag holds whole millimetres.
    equivalent = scene.camera.focal_px * np.hypot(36, 24) / np.hypot(320, 240)
    assert exif["Exif"][piexif.ExifIFD.FocalLengthIn35mmFilm] == pytest.approx(equivalent, abs=0.51)


def test_without_a_time_none_is_written(scene, picture):
    exif = piexif.load(jpeg_bytes(picture, scene))["Exif"]
    assert piexif.ExifIFD.DateTimeOriginal not in exif
    assert piexif.ExifIFD.OffsetTimeOriginal not in exif


def test_a_time_without_zone_has_no_offset(scene, picture):
    exif = piexif.load(jpeg_bytes(picture, scene, taken_at=TAKEN_AT.replace(tzinfo=None)))["Exif"]
    assert exif[piexif.ExifIFD.DateTimeOriginal] == b"2026:05:04 06:30:12"
    assert piexif.ExifIFD.OffsetTimeOriginal not in exif


def test_the_jpeg_shows_the_picture(scene, picture):
    data = jpeg_bytes(picture, scene)
    assert data == jpeg_bytes(picture, scene)
    back = np.asarray(Image.open(io.BytesIO(data)))
    assert back.shape == picture.rgb.shape
    assert np.abs(back.astype(int) - picture.rgb).mean() < 4  # quality 92 with halved colour
    assert len(jpeg_bytes(picture, scene, quality=60)) < len(data)


def test_the_mask_holds_cell_numbers_in_16_bits(picture):
    plant = picture.plant.copy()
    plant[0, :3] = (1, 300, 65535)
    back = cv2.imdecode(np.frombuffer(mask_png(replace(picture, plant=plant)), np.uint8), cv2.IMREAD_UNCHANGED)
    assert back.dtype == np.uint16
    np.testing.assert_array_equal(back, plant)


def test_visible_pixels_are_counted(scene, picture):
    table = with_pixels(measure_truth(scene), picture, scene.layout)
    assert table.visible_px.tolist() == [0, 0, 0, 0, int((picture.plant == 5).sum()), 0]


def test_the_line_of_the_tray_list(scene, picture):
    truth = measure_truth(scene)
    line = tray_line(scene, truth, file_name="one.jpg", taken_at=TAKEN_AT)
    assert line == {
        "photo": "one.jpg",
        "tray": "one",
        "layout": "2x3",
        "crop": "",
        "stage": "seedling",
        "sown_on": "2026-04-22",  # 12 days old on 4 May
        "pitch_mm": "60x50",
        "outline_mm": "200x120",
        "markers": "yes",
        "marker_offset_mm": "15",
        "camera_height_mm": 900,
        "canopy_height_mm": 30,
    }


def test_a_crop_is_named_only_where_it_has_a_recipe(scene, picture):
    truth = measure_truth(scene)
    named = {
        stage: tray_line(scene, truth, file_name="a", taken_at=None, recipes={("butterhead", stage): ...})["crop"]
        for stage in ("seedling", "finish")
    }
    assert named == {"seedling": "butterhead", "finish": ""}


@pytest.mark.parametrize("das", [12.0, 12.4, 12.5, 12.9])
def test_the_sowing_day_is_the_same_on_every_day(scene, das):
    days = set()
    for later in range(3):
        older = replace(scene, plants=tuple(replace(p, das=das + later) for p in scene.plants))
        line = tray_line(
            older, measure_truth(scene), file_name="a", taken_at=datetime(2026, 5, 4 + later, 6, tzinfo=UTC)
        )
        days.add(line["sown_on"])
    assert days == {date(2026, 4, 22).isoformat()}


def test_an_empty_tray_has_a_line_too(scene):
    empty = replace(scene, plants=())
    line = tray_line(empty, measure_truth(empty), file_name="a", taken_at=TAKEN_AT)
    assert (line["canopy_height_mm"], line["sown_on"], line["crop"]) == ("", "2026-05-04", "")


def test_photo_and_mask_are_written(tmp_path, scene, picture):
    photo = write_scene(tmp_path, scene, picture, taken_at=TAKEN_AT)
    assert photo == tmp_path / "one.jpg"
    assert photo.read_bytes() == jpeg_bytes(picture, scene, taken_at=TAKEN_AT)
    assert (tmp_path / "masks" / "one.png").read_bytes() == mask_png(picture)
