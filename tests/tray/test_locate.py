"""Locating a tray whose place is known: a board seen through a camera (see board.py)."""

import re
from dataclasses import replace

import cv2
import numpy as np
import pytest

from canopy.errors import TrayNotFound
from canopy.records import TrayRecord
from canopy.settings import TraySettings
from canopy.tray.layouts import layout_from
from canopy.tray.locate import locate_tray
from canopy.tray.markers import find_markers

from .board import camera, draw_board, photo_of, photograph

SETTINGS = TraySettings()
LAYOUT = layout_from("72")
MARKED = TrayRecord(tray="t", layout=LAYOUT, has_markers=True)
GRID = np.stack(np.meshgrid(np.linspace(0, 540, 13), np.linspace(0, 280, 8)), axis=-1).reshape(-1, 2)

# The fit's error over the tray that the room promises, and what renders of this size allow several times over.
MAX_RMS_PX = 0.3


@pytest.fixture(scope="module")
def board():
    return draw_board(LAYOUT)


def rms_px(frame, view):
    return float(np.sqrt(np.mean(np.sum((frame.to_px(GRID) - view.project(GRID)) ** 2, axis=1))))


@pytest.mark.parametrize(
    "pose",
    [
        {},
        {"tilt_deg": 8, "towards_deg": 30, "turn_deg": 5},
        {"tilt_deg": 15, "towards_deg": 100, "turn_deg": 185},  # upside down
        {"tilt_deg": 5, "towards_deg": 200, "k1": -0.1},
        {"tilt_deg": 3, "towards_deg": 90, "k1": 0.05},
    ],
)
def test_pose_scale_and_lens(board, pose):
    view = camera(**pose)
    frame = locate_tray(photograph(board, view), MARKED, settings=SETTINGS)
    assert frame.located_by == "markers"
    assert rms_px(frame, view) < MAX_RMS_PX
    assert frame.tilt_deg == pytest.approx(view.tilt_deg, abs=0.5)
    assert frame.k1 == pytest.approx(view.k1, rel=0.1, abs=0.002)
    # The lens's place: height within 1 %, foot within the shift that 0.5° of tilt makes at 700 mm.
    assert frame.camera_mm is not None
    assert frame.camera_mm[2] == pytest.approx(view.place_mm[2], rel=0.01)
    assert frame.camera_mm[:2] == pytest.approx(view.place_mm[:2], abs=700 * np.tan(np.radians(0.5)))
    assert frame.focal_source == "exif"
    # Scale at the tray's centre: from the projected distance of two points 2 mm apart in x and in y.
    x, y = 270.0, 140.0
    cross = view.project(np.array([[x - 1, y], [x + 1, y], [x, y - 1], [x, y + 1]]))
    scale = np.sqrt(2 / np.hypot(*(cross[1] - cross[0])) * 2 / np.hypot(*(cross[3] - cross[2])))
    assert frame.mm_per_px == pytest.approx(scale, rel=0.001)  # 0.3 px in 1200


@pytest.mark.parametrize("hidden", [0, 2])
def test_three_markers_do(hidden):
    board = draw_board(LAYOUT, markers=tuple(n for n in range(4) if n != hidden))
    view = camera(tilt_deg=6, towards_deg=40, k1=-0.04)
    frame = locate_tray(photograph(board, view), MARKED, settings=SETTINGS)
    assert frame.located_by == "3 markers"
    # The hidden corner is extrapolated from the other three: double the error allowed with four.
    assert rms_px(frame, view) < 2 * MAX_RMS_PX


def test_printed_size_is_free(board):
    # Printers scale: markers printed at 95 % on the same places must not bend the tray.
    small = LAYOUT.model_copy(update={"markers": LAYOUT.markers.model_copy(update={"side_mm": 19.0})})
    view = camera(tilt_deg=4)
    photo = photograph(draw_board(small), view)
    frame = locate_tray(photo, MARKED, settings=SETTINGS)
    assert abs(frame.k1) < 0.005
    assert rms_px(frame, view) < MAX_RMS_PX


def exposed(rgb):
    return np.clip(rgb * 2.2 + 40, 0, 255).astype(np.uint8)


def purple(rgb):
    return np.clip(rgb * np.array([1.1, 0.15, 1.2]), 0, 255).astype(np.uint8)


def dark(rgb):
    return (rgb * 0.12).astype(np.uint8)


def soft(rgb):
    return cv2.GaussianBlur(rgb, (0, 0), 2.0)


@pytest.mark.parametrize("spoil", [exposed, purple, dark, soft])
def test_bad_light_and_blur(board, spoil):
    view = camera(tilt_deg=6, towards_deg=300)
    photo = photograph(board, view)
    frame = locate_tray(replace(photo, rgb=spoil(photo.rgb)), MARKED, settings=SETTINGS)
    assert rms_px(frame, view) < MAX_RMS_PX


def test_low_contrast_and_small():
    view = camera(width_px=800, height_px=500, focal_px=750)  # 0.93 mm per pixel: a marker module is 3.6 px
    frame = locate_tray(photograph(draw_board(LAYOUT, ink=95, paper=150), view), MARKED, settings=SETTINGS)
    assert rms_px(frame, view) < MAX_RMS_PX


def test_one_marker_in_the_wrong_place_is_left_out(board):
    moved = board.copy()
    marker = board[160:280, 160:280]  # id 0 with its quiet zone, drawn at mm −15 ± 15
    moved[160:280, 160:280] = 110
    moved[260:380, 320:440] = marker  # 40 mm along the row, 25 mm down
    view = camera(tilt_deg=3)
    frame = locate_tray(photograph(moved, view), MARKED, settings=SETTINGS)
    assert frame.located_by == "3 markers"
    assert rms_px(frame, view) < 2 * MAX_RMS_PX


def refused(photo, record, code, *patterns):
    with pytest.raises(TrayNotFound, match=f"^{re.escape(photo.name)}: ") as caught:
        locate_tray(photo, record, settings=SETTINGS)
    assert caught.value.code == code
    for pattern in patterns:
        assert re.search(pattern, str(caught.value)), str(caught.value)
    assert "\n" not in str(caught.value)


def test_two_markers_are_too_few():
    photo = photograph(draw_board(LAYOUT, markers=(0, 3)), camera(width_px=1000, height_px=640, focal_px=940))
    refused(photo, MARKED, "tray_not_found", r"found 2 of 4 corner markers \(id 0, 3\)", "`corners`")


def test_no_marker_at_all():
    photo = photograph(draw_board(LAYOUT, markers=()), camera(width_px=1000, height_px=640, focal_px=940))
    refused(photo, MARKED, "tray_not_found", "none of the 4 corner markers", "`corners`")


def test_nothing_at_all_is_no_tray():
    refused(blank(), replace_record(has_markers=False), "tray_not_found", "without markers", "`corners`")


def test_some_markers_are_never_passed_over_for_the_outline():
    photo = photograph(draw_board(LAYOUT, markers=(0, 3)), camera(width_px=1000, height_px=640, focal_px=940))
    refused(photo, replace_record(has_markers=None), "tray_not_found", "found 2 of 4 corner markers")


def replace_record(**fields):
    return TrayRecord(tray="t", layout=LAYOUT, **fields)


def test_two_trays_in_view(board):
    view = camera(width_px=1000, height_px=640, focal_px=940)
    photo = photograph(board, view)
    twice = np.concatenate([photo.rgb, photo.rgb], axis=0)
    refused(photo_of(twice), MARKED, "doubtful_fit", "id 0, 1, 2, 3 are seen twice")


def test_one_marker_of_the_next_tray_in_view(board):
    # Exactly one set of four fits: no doubt which tray is meant.
    view = camera(tilt_deg=4)
    photo = photograph(board, view)
    x, y = np.rint(view.project(np.array([[-15.0, 295.0]]))[0]).astype(int)
    beside = np.full((760, 300, 3), 110, np.uint8)
    beside[y - 30 : y + 30, 100:160] = photo.rgb[y - 30 : y + 30, x - 30 : x + 30]  # id 3
    wide = replace(photo, rgb=np.concatenate([photo.rgb, beside], axis=1), focal_length_px=None)
    assert [marker.id for marker in find_markers(wide.rgb, settings=SETTINGS)] == [0, 1, 2, 3, 3]
    frame = locate_tray(wide, MARKED, settings=SETTINGS)
    assert frame.located_by == "markers"
    assert rms_px(frame, view) < MAX_RMS_PX
    hidden = wide.rgb.copy()
    x, y = np.rint(view.project(np.array([[555.0, -15.0]]))[0]).astype(int)
    hidden[max(0, y - 30) : y + 30, x - 30 : x + 30] = 110  # own id 1: three ids and one twice are not enough to tell
    refused(replace(wide, rgb=hidden), MARKED, "doubtful_fit", "id 3 are seen twice")


@pytest.mark.parametrize(
    ("wrong", "pattern"),
    [
        ({"outline_mm": "600x400"}, "miss their places|mm per pixel"),
        ({"marker_mm": "30"}, "miss their places|markers look (19|20).* mm wide.*layout says 30"),
    ],
)
def test_wrong_layout_is_doubtful(board, wrong, pattern):
    photo = photograph(board, camera(tilt_deg=2))
    record = TrayRecord(tray="t", layout=layout_from("72", **wrong), has_markers=True)
    refused(photo, record, "doubtful_fit", pattern)


def test_too_much_tilt(board):
    photo = photograph(board, camera(tilt_deg=30))
    refused(photo, MARKED, "doubtful_fit", "tilt of 30°")


def test_mirrored_picture_is_not_found(board):
    # A mirrored marker is no marker: nothing is found rather than a mirrored tray.
    photo = photograph(board, camera(width_px=1000, height_px=640, focal_px=940))
    refused(replace(photo, rgb=np.ascontiguousarray(photo.rgb[:, ::-1])), MARKED, "tray_not_found")


def blank(width_px=1000, height_px=600, **fields):
    return photo_of(np.full((height_px, width_px, 3), 120, np.uint8), name="p/blank.jpg", **fields)


def test_given_corners_are_full_size_pixels():
    corners = ((101.5, 81.5), (1901.5, 81.5), (1901.5, 1015.0), (101.5, 1015.0))
    frame = locate_tray(blank(reduction=2), replace_record(corners_px=corners), settings=SETTINGS)
    assert frame.located_by == "corners"
    # Full-size x lies at (x + 0.5)/2 − 0.5 of the half-size picture: 101.5 → 50.5.
    np.testing.assert_allclose(frame.to_px(np.array([[0.0, 0.0]])), [[50.5, 40.5]], atol=1e-9)
    assert frame.mm_per_px == pytest.approx(np.sqrt(540 / 900 * 280 / 466.75), rel=1e-9)
    assert frame.camera_mm is None  # no focal length, no typed height
    assert frame.focal_source == "assumed"


@pytest.mark.parametrize(
    ("corners", "pattern"),
    [
        (((900, 100), (100, 100), (100, 500), (900, 500)), "mirrored"),
        (((100, 100), (900, 500), (900, 100), (100, 500)), "cross"),
        (((-5000, -3000), (6000, -3000), (6000, 3000), (-5000, 3000)), "far outside"),
        (((100, 100), (900, 100), (900, 110), (100, 110)), "along rows but"),
        (((100, 100), (900, 100), (900, 500)), "8 numbers"),
    ],
)
def test_impossible_corners(corners, pattern):
    refused(blank(), replace_record(corners_px=corners), "doubtful_fit", pattern)


def test_implausible_scale():
    far = ((500, 300), (504, 300), (504, 302), (500, 302))  # 540 mm over 4 px
    refused(blank(), replace_record(corners_px=far), "doubtful_fit", "scale is")


def test_whole_picture_only_when_told():
    photo = photo_of(np.full((560, 1080, 3), 120, np.uint8))
    told = locate_tray(photo, replace_record(has_markers=False, whole_picture=True), settings=SETTINGS)
    assert told.located_by == "whole picture"
    assert told.mm_per_px == pytest.approx(0.5)  # 540 mm over 1080 px
    # The outline is the outer edge of the border pixels, half a pixel beyond their centres.
    np.testing.assert_allclose(told.to_mm(np.array([[-0.5, -0.5], [1079.5, 559.5]])), [[0, 0], [540, 280]], atol=1e-9)
    assert told.tilt_deg == 0
    refused(photo, replace_record(has_markers=None), "tray_not_found")
    refused(photo, replace_record(has_markers=True, whole_picture=True), "tray_not_found")


def test_whole_picture_of_another_shape():
    photo = photo_of(np.full((1080, 560, 3), 120, np.uint8))
    refused(photo, replace_record(has_markers=False, whole_picture=True), "doubtful_fit", "560 × 1080 px but the tray")


def test_typed_height_gives_the_camera_without_exif(board):
    view = camera(tilt_deg=6, towards_deg=40)
    photo = photograph(board, view, focal_known=False)
    record = replace_record(has_markers=True, camera_height_mm=float(view.place_mm[2]))
    frame = locate_tray(photo, record, settings=SETTINGS)
    assert frame.focal_source == "camera height"
    assert frame.tilt_deg == pytest.approx(6, abs=0.5)
    # Same bound as with EXIF: 0.5° of tilt at 700 mm.
    assert frame.camera_mm == pytest.approx(tuple(view.place_mm), abs=700 * np.tan(np.radians(0.5)))


def test_typed_height_of_a_whole_picture_is_over_its_middle():
    photo = photo_of(np.full((560, 1080, 3), 120, np.uint8))
    record = replace_record(has_markers=False, whole_picture=True, camera_height_mm=900)
    assert locate_tray(photo, record, settings=SETTINGS).camera_mm == (270, 140, 900)


def test_same_photo_same_frame(board):
    photo = photograph(board, camera(tilt_deg=6))
    before = photo.rgb.copy()
    one, two = (locate_tray(photo, MARKED, settings=SETTINGS) for _ in range(2))
    np.testing.assert_array_equal(one.px_from_mm, two.px_from_mm)
    np.testing.assert_array_equal(photo.rgb, before)
