"""The map step as a whole: what it promises beyond what its rooms promise."""

from __future__ import annotations

import math
import sys
from datetime import date, datetime

import cv2
import numpy as np
import pandas as pd
import pytest

import canopy
from canopy.analyse import analyse, work_through
from canopy.errors import PhotoError, UsageError
from canopy.measure import CELL_COLUMNS, TRAY_COLUMNS
from canopy.readiness import recipe_for
from canopy.records import TrayRecord
from canopy.settings import Settings

from .conftest import LAYOUT, RADII_MM
from .drawing import draw_tray

analyse_module = sys.modules["canopy.analyse"]
# The scale of the stage counts, however small the tray is.
BY_STAGE = Settings.model_validate({"scale": {"native_megapixels": 0.1}})
NAME = "R1_2026-03-20_0530.jpg"


def _jpeg(picture: np.ndarray) -> bytes:
    return cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])[1].tobytes()


@pytest.fixture(scope="module")
def photo():
    return _jpeg(draw_tray(LAYOUT, RADII_MM, px_per_mm=6.0))


def _record(**fields):
    known = {"tray": "R1", "layout": LAYOUT, "stage": "seedling", "canopy_height_mm": 0.0, "camera_height_mm": 20000.0}
    return TrayRecord(**{**known, **fields})


def _tables(reading):
    return reading.cells, reading.trays, reading.criteria


def test_the_public_door_opens():
    assert canopy.analyse is analyse
    assert canopy.Settings is Settings
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        canopy.nothing  # noqa: B018


def test_the_same_photo_gives_the_same_reading(photo):
    one, other = (analyse(photo, _record(), settings=Settings(), name=NAME) for _ in range(2))
    for a, b in zip(_tables(one), _tables(other), strict=True):
        pd.testing.assert_frame_equal(a, b, check_exact=True)
    assert one.remarks == other.remarks


def test_tables_have_their_columns_and_types_whatever_the_record(photo):
    for record in (_record(), _record(crop="butterhead", sown_on=date(2026, 2, 26))):
        reading = analyse(photo, record, settings=Settings(), name=NAME)
        assert {c.name: c.dtype for c in CELL_COLUMNS} == {n: str(t) for n, t in reading.cells.dtypes.items()}
        assert {c.name: c.dtype for c in TRAY_COLUMNS} == {n: str(t) for n, t in reading.trays.dtypes.items()}
        assert (len(reading.cells), len(reading.trays)) == (15, 1)
        assert set(reading.cells["photo"]) == {NAME}
        assert set(reading.cells["taken_at"]) == {"2026-03-20T05:30:00"}


def test_a_photo_is_decoded_no_finer_than_needed(photo):
    worked = work_through(photo, _record(), settings=BY_STAGE, name=NAME)
    # 350 mm across 2100 px; 270 mm of tray at 0.35 mm/px and 80 % of the width need 965 px: half size is enough.
    assert worked.photo.reduction == 2
    full = Settings.model_validate({"scale": {"seedling_mm_per_px": 0.17, "native_megapixels": 0.1}})
    fine = work_through(photo, _record(), settings=full, name=NAME)
    assert fine.photo.reduction == 1
    areas = [w.reading.cells["area_mm2"].dropna().to_numpy() for w in (worked, fine)]
    # Cover counts fractions of pixels at rims, so the coarser grid has no bias; 3 % of the smallest disc (28 mm²) is a
    # rim moved by 0.05 mm, a seventh of the coarser pixel.
    np.testing.assert_allclose(areas[0], areas[1], rtol=0.03)
    assert worked.reading.trays["mm_per_px"].iloc[0] == pytest.approx(1 / 6, rel=0.005)  # of the file's own pixels


def test_a_small_tray_is_measured_as_finely_as_the_photo_shows_it(photo):
    worked = work_through(photo, _record(), settings=Settings(), name=NAME)
    # 330 x 230 mm with its margin on 1.2 megapixels: 0.2515 mm to the pixel; half size (0.33 mm) would be too coarse.
    assert worked.photo.reduction == 1
    assert worked.rectified.mm_per_px == pytest.approx(0.2515, abs=1e-4)


def test_a_tray_that_fills_little_of_the_photo_is_decoded_once_more(photo, monkeypatch):
    tray = cv2.imdecode(np.frombuffer(photo, np.uint8), cv2.IMREAD_COLOR_RGB)
    picture = np.full((2 * tray.shape[0], 2 * tray.shape[1], 3), 60, np.uint8)
    picture[100 : 100 + tray.shape[0], 300 : 300 + tray.shape[1]] = tray
    seen = []
    decode = analyse_module.decode
    monkeypatch.setattr(analyse_module, "decode", lambda *a, **k: seen.append(decode(*a, **k)) or seen[-1])
    worked = work_through(_jpeg(picture), _record(), settings=BY_STAGE, name=NAME)
    # First a quarter (0.67 mm/px), which is too coarse for 0.35; then half (0.33 mm/px).
    assert [p.reduction for p in seen] == [4, 2]
    assert worked.frame.mm_per_px == pytest.approx(1 / 3, rel=0.01)


def test_without_a_recipe_nothing_is_scored(photo):
    reading = analyse(photo, _record(), settings=Settings(), name=NAME)
    assert reading.cells["decision"].isna().all()
    assert reading.cells["readiness"].isna().all()
    assert reading.criteria.empty
    assert reading.trays["decision"].isna().all()
    assert reading.cells["area_mm2"].notna().sum() == len(RADII_MM)


def test_a_crop_without_a_recipe_is_a_usage_error(photo):
    with pytest.raises(UsageError, match="crop: `buterhead` is not known, did you mean `butterhead`"):
        analyse(photo, _record(crop="buterhead"), settings=Settings())


def test_sown_after_the_photo(photo):
    with pytest.raises(PhotoError, match=r"R1_2026-03-20_0530\.jpg: `sown_on` 2026-03-21 lies after") as caught:
        analyse(photo, _record(sown_on=date(2026, 3, 21)), settings=Settings(), name=NAME)
    assert caught.value.code == "sown_in_future"


@pytest.mark.parametrize(
    ("fields", "canopy_mm", "canopy_source", "camera_mm", "camera_source"),
    [
        ({"canopy_height_mm": 20.0}, 20.0, "typed", 20000.0, "typed"),
        ({"canopy_height_mm": None}, None, "unknown", 20000.0, "typed"),
        ({"canopy_height_mm": None, "camera_height_mm": None}, None, "unknown", None, "unknown"),
    ],
)
def test_where_heights_come_from(photo, monkeypatch, fields, canopy_mm, canopy_source, camera_mm, camera_source):
    height = _height_used(photo, monkeypatch, _record(**fields))
    assert (height.canopy_mm, height.canopy_source) == (canopy_mm, canopy_source)
    assert (height.camera_mm, height.camera_source) == (camera_mm, camera_source)


def test_an_untyped_height_comes_from_the_recipe(photo, monkeypatch):
    record = _record(canopy_height_mm=None, crop="butterhead", sown_on=date(2026, 3, 6))
    height = _height_used(photo, monkeypatch, record)
    recipe = recipe_for("butterhead", "seedling")
    assert height.canopy_source == "recipe"
    assert height.canopy_mm == recipe.height_at(14)[0]  # 6 to 20 March


def _height_used(photo, monkeypatch, record):
    seen = []
    measure = analyse_module.measure_cells
    monkeypatch.setattr(analyse_module, "measure_cells", lambda *a, **k: seen.append(k["height"]) or measure(*a, **k))
    work_through(photo, record, settings=Settings(), name=NAME)
    return seen[0]


def test_purple_light_withholds_colour_and_says_so():
    # Red and blue lamps: hardly any green comes back from anything.
    purple = draw_tray(LAYOUT, RADII_MM, px_per_mm=3.0).astype(float) * (1.0, 0.25, 1.0) + (40, 0, 60)
    photo = _jpeg(np.clip(purple, 0, 255).astype(np.uint8))
    reading = analyse(photo, _record(crop="butterhead", sown_on=date(2026, 2, 26)), settings=Settings(), name=NAME)
    assert "purple_light" in {remark.code for remark in reading.remarks}
    assert reading.trays["quality"].iloc[0] == "doubtful"
    assert "colour is not judged" in reading.trays["quality_reason"].iloc[0]
    judged = reading.criteria[~reading.criteria["withheld"]]["criterion"].unique().tolist()
    assert "colour" not in judged


def test_a_time_from_the_files_date_is_told_but_no_doubt(photo):
    reading = analyse(photo, _record(), settings=Settings(), name="x.jpg", modified_at=datetime(2026, 3, 20, 6))
    assert [remark.code for remark in reading.remarks] == ["file_date"]
    assert reading.trays["quality"].iloc[0] == "good"
    assert reading.trays["taken_at"].iloc[0] == "2026-03-20T06:00:00"


def test_a_time_that_nobody_knows_is_empty_and_told(photo):
    reading = analyse(photo, _record(sown_on=date(2026, 2, 26)), settings=Settings(), name="x.jpg")
    assert [remark.code for remark in reading.remarks] == ["no_time"]
    assert reading.trays["quality"].iloc[0] == "good"
    assert reading.cells[["taken_at", "das"]].isna().all(axis=None)


def test_cells_beyond_the_picture_are_not_called_empty(photo):
    whole = cv2.imdecode(np.frombuffer(photo, np.uint8), cv2.IMREAD_COLOR_RGB)
    cut = whole[:, : ((40 + 200) * 6)]  # the picture ends 200 mm into the tray: column 5 begins at 210 mm
    corners = tuple((float(x), float(y)) for x, y in (LAYOUT.outline_mm + 40) * 6 - 0.5)
    record = _record(corners_px=corners, crop="butterhead", sown_on=date(2026, 2, 26))
    reading = analyse(_jpeg(cut), record, settings=Settings(), name=NAME)
    beyond = reading.cells[reading.cells["col"] == 5]
    assert beyond["state"].isna().all()
    assert not beyond["decision"].isin(["transplant", "harvest", "empty"]).any()
    shown = reading.cells[reading.cells["col"] <= 3]
    assert (shown["state"] == "planted").sum() == 8
    drawn = math.pi * RADII_MM["A1"] ** 2
    assert reading.cells["area_mm2"].iloc[0] == pytest.approx(drawn, rel=0.02)  # as in the journeys


@pytest.mark.parametrize("size", [1.0, 0.6])
def test_a_tray_not_found_for_blur_is_refused_for_the_blur(photo, size):
    # 2.5 mm of blur at the rim spoils 20 mm markers, and is more than the millimetre that a photo may have.
    sharp = cv2.imdecode(np.frombuffer(photo, np.uint8), cv2.IMREAD_COLOR_RGB)
    blurred = cv2.resize(cv2.GaussianBlur(sharp, (0, 0), 2.5 * 6), None, fx=size, fy=size, interpolation=cv2.INTER_AREA)
    with pytest.raises(PhotoError, match=rf"^{NAME}: edges are blurred by") as caught:
        analyse(_jpeg(blurred), _record(has_markers=True), settings=Settings(), name=NAME)
    assert caught.value.code == "blurred"


def test_a_sharp_photo_without_the_tray_is_never_called_blurred(photo):
    sharp = cv2.imdecode(np.frombuffer(photo, np.uint8), cv2.IMREAD_COLOR_RGB)
    for picture in (sharp[300:-300, 300:-300], np.full_like(sharp, 90)):  # markers cut away; nothing at all to see
        with pytest.raises(PhotoError) as caught:
            analyse(_jpeg(picture), _record(has_markers=True), settings=Settings(), name=NAME)
        assert caught.value.code == "tray_not_found"
