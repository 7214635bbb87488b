"""Saved views: followed through small knocks of the camera, refused when it or the tray moved."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from canopy.errors import TrayNotFound
from canopy.records import TrayRecord
from canopy.settings import TraySettings
from canopy.tray import layout_from, locate_tray, save_view
from canopy.tray.frame import distort

from .board import camera, draw_board, photo_of, photograph

SETTINGS = TraySettings()
LAYOUT = layout_from("4x7", pitch_mm="60x55", outline_mm="440x250")
BOARD = draw_board(LAYOUT, markers=())
AT = {"at_mm": (220.0, 125.0), "focal_px": 1150.0}


def with_rim(board):
    """A light rim, which the bare board lacks."""
    board = board.copy()
    first, last = (tuple(round((c + 60) / 0.25) for c in LAYOUT.outline_mm[k]) for k in (0, 2))
    cv2.rectangle(board, first, last, 190, 24)
    return board


RIM = with_rim(BOARD)


def grown(board):
    """Leaves four times as wide, of another tone."""
    board = board.copy()
    rng = np.random.default_rng(3)
    for x, y in LAYOUT.centres_mm() + rng.normal(0, 3, (LAYOUT.cells, 2)):
        cv2.circle(board, (round((x + 60) / 0.25), round((y + 60) / 0.25)), round(rng.uniform(15, 26) / 0.25), 140, -1)
    return board


def record(**fields):
    return TrayRecord(tray="t", layout=LAYOUT, **fields)


@pytest.fixture(scope="module")
def saved():
    view = camera(**AT)
    photo = photograph(RIM, view, name="day0.jpg")
    corners = tuple((float(x), float(y)) for x, y in view.project(LAYOUT.outline_mm))
    frame = locate_tray(photo, record(corners_px=corners), settings=SETTINGS)
    return save_view("rack", photo, frame, LAYOUT, settings=SETTINGS)


def test_a_view_keeps_what_was_found(saved):
    assert (saved.name, saved.width_px, saved.height_px, saved.located_by) == ("rack", 1200, 760, "corners")
    truth = camera(**AT).project(LAYOUT.outline_mm)
    np.testing.assert_allclose(saved.corners_px, truth, atol=0.006)  # written to 0.01 px
    small = cv2.imdecode(np.frombuffer(saved.picture, np.uint8), cv2.IMREAD_COLOR)
    assert max(small.shape) == SETTINGS.view.picture_long_side_px


@pytest.mark.parametrize(
    "knock",
    [
        {},
        {"at_mm": (226.0, 128.0)},
        {"turn_deg": 1.5},
        {"tilt_deg": 1.2, "towards_deg": 40.0},
        {"height_mm": 712.0, "at_mm": (214.0, 122.0)},
    ],
)
@pytest.mark.parametrize("board", [RIM, grown(RIM)], ids=["as saved", "grown"])
def test_small_knocks_are_followed(saved, knock, board):
    view = camera(**{**AT, **knock})
    photo = photograph(board, view, name="day1.jpg", noise=3.0)
    frame = locate_tray(photo, record(view=saved), settings=SETTINGS)
    truth = view.project(LAYOUT.outline_mm)
    # A hundredth of the pitch, 0.6 mm, is about 1 px here.
    assert np.hypot(*(frame.to_px(LAYOUT.outline_mm) - truth).T).max() * frame.mm_per_px < 0.6
    moved = np.hypot(*(truth - camera(**AT).project(LAYOUT.outline_mm)).T).max()
    name, said = frame.located_by.split(", followed ")
    assert name == "saved view rack"
    assert float(said.removesuffix(" px")) == pytest.approx(moved, abs=1.5)  # the corner error, and whole pixels


def refused(photo, saved, code, message, **fields):
    with pytest.raises(TrayNotFound, match=message) as caught:
        locate_tray(photo, TrayRecord(tray="t", layout=fields.get("layout", LAYOUT), view=saved), settings=SETTINGS)
    assert caught.value.code == code
    assert str(caught.value).startswith("day2.jpg: ")


def test_a_camera_that_moved_far_is_said_to_have_moved(saved):
    moved = photograph(RIM, camera(**{**AT, "at_mm": (275.0, 125.0)}), name="day2.jpg")
    # 55 mm of 1200 px at 0.609 mm a pixel are 90 px, 8 % of the width.
    refused(moved, saved, "camera_moved", r"the corners (moved )?by (about )?[78]% of the width; inspect the corners")


def test_a_tray_that_was_pushed_aside_is_followed_or_refused(saved):
    """The ground stays, the tray's part of the board moves by 0.4 to 1 pitch."""
    photo = photograph(RIM, camera(**AT), name="day2.jpg")
    bare = photograph(draw_board(LAYOUT.model_copy(update={"rows": 1, "columns": 1}), markers=()), camera(**AT))
    corners = camera(**AT).project(LAYOUT.outline_mm)
    outside = np.ones(photo.rgb.shape[:2], np.uint8)
    cv2.fillPoly(outside, [np.rint(corners + np.sign(corners - corners.mean(axis=0)) * 6).astype(int)], 0)
    for pitches in (0.15, 0.4, 1.0):
        shift = np.float32([[1, 0, pitches * 60 * 1150 / 700], [0, 1, 0]])
        pushed = cv2.warpAffine(photo.rgb, shift, photo.rgb.shape[1::-1])
        kept = cv2.warpAffine(outside, shift, outside.shape[::-1], borderValue=1)
        rgb = np.where(kept[..., None] > 0, bare.rgb, pushed)
        try:
            frame = locate_tray(photo_of(rgb, name="day2.jpg"), record(view=saved), settings=SETTINGS)
        except TrayNotFound:
            continue
        assert pitches < 1  # farther than views are followed
        truth = corners + shift[:, 2]
        assert np.hypot(*(frame.to_px(LAYOUT.outline_mm) - truth).T).max() * frame.mm_per_px < 0.6  # as above


def test_another_scene_is_refused(saved):
    rng = np.random.default_rng(5)
    noise = cv2.GaussianBlur(rng.normal(0, 400, (760, 1200, 3)).astype(np.float32), (0, 0), 3)
    rgb = np.clip(120 + noise, 0, 255).astype(np.uint8)
    refused(photo_of(rgb, name="day2.jpg"), saved, "camera_moved", "too little of what stands around is found again")
    empty = np.full((760, 1200, 3), 90, np.uint8)
    refused(photo_of(empty, name="day2.jpg"), saved, "camera_moved", "too little of what stands around is found again")


def test_another_shape_or_tray_is_refused(saved):
    upright = photo_of(np.zeros((1200, 760, 3), np.uint8), name="day2.jpg")
    refused(upright, saved, "camera_moved", "is 760 x 1200 px, but saved view rack is of 1200 x 760 px")
    other = layout_from("4x7", pitch_mm="60x55", outline_mm="460x250")
    photo = photograph(RIM, camera(**AT), name="day2.jpg")
    refused(
        photo,
        saved,
        "doubtful_fit",
        "layout 4x7 of 460 x 250 mm, but saved view rack is of a tray 4x7 of 440 x 250 mm; correct",
        layout=other,
    )
    spoilt = saved.model_copy(update={"picture": b"no picture"})
    refused(photo, spoilt, "doubtful_fit", "picture of saved view rack is spoilt; save the view anew")


def test_a_smaller_photo_of_the_same_camera_is_followed_too(saved):
    view = camera(**AT)
    photo = photograph(RIM, view, name="day1.jpg")
    half = cv2.resize(photo.rgb, (600, 380), interpolation=cv2.INTER_AREA)
    frame = locate_tray(
        replace(photo, rgb=half, reduction=2, focal_length_px=None), record(view=saved), settings=SETTINGS
    )
    truth = (view.project(LAYOUT.outline_mm) + 0.5) / 2 - 0.5
    assert np.hypot(*(frame.to_px(LAYOUT.outline_mm) - truth).T).max() * frame.mm_per_px < 0.6  # as above


def test_the_lens_of_the_view_is_kept():
    bent = camera(**AT, k1=-0.06)
    photo = photograph(RIM, bent, name="day0.jpg")
    corners = tuple((float(x), float(y)) for x, y in bent.project(LAYOUT.outline_mm))
    frame = replace(locate_tray(photo, record(corners_px=corners), settings=SETTINGS), k1=bent.k1)
    # The frame of a bent picture: its ideal corners are those of the same camera without the lens term.
    ideal = camera(**AT).project(LAYOUT.outline_mm)
    size = {"width_px": 1200, "height_px": 760}
    frame = replace(frame, px_from_mm=cv2.getPerspectiveTransform(np.float32(LAYOUT.outline_mm), np.float32(ideal)))
    np.testing.assert_allclose(
        distort(ideal, bent.k1, **size), corners, atol=0.01
    )  # both are Brown-Conrady's first term
    kept = save_view("bent", photo, frame, LAYOUT, settings=SETTINGS)
    again = locate_tray(photo, record(view=kept), settings=SETTINGS)
    assert again.k1 == pytest.approx(bent.k1, abs=1e-6)  # written to 1e-6
    centres = LAYOUT.centres_mm()
    # Without the lens term, cells would lie up to 4 px beside.
    assert np.hypot(*(again.to_px(centres) - bent.project(centres)).T).max() < 1.0


def test_same_photo_same_frame_and_nothing_is_written_into_it(saved):
    photo = photograph(RIM, camera(**{**AT, "turn_deg": 1.0}), name="day1.jpg")
    before = photo.rgb.copy()
    one, two = (locate_tray(photo, record(view=saved), settings=SETTINGS) for _ in range(2))
    np.testing.assert_array_equal(one.px_from_mm, two.px_from_mm)
    np.testing.assert_array_equal(photo.rgb, before)
