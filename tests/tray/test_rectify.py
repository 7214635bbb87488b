"""The tray from above and back: places, borders, dtypes."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from canopy.settings import TraySettings
from canopy.tray.fit import fit_homography
from canopy.tray.layouts import layout_from
from canopy.tray.pose import complete_frame
from canopy.tray.rectify import Rectified, rectify, to_photo_grid

from .board import BOARD_MM, MARGIN_MM, camera, photo_of, photograph

LAYOUT = layout_from("72")
SETTINGS = TraySettings()


def known_frame(photo, view):
    """The frame of a known camera, by its projected points, without the lens; the lens term is set, not fitted."""
    grid = np.stack(np.meshgrid(np.linspace(0, 540, 5), np.linspace(0, 280, 5)), axis=-1).reshape(-1, 2)
    straight = replace(view, k1_cv=0.0)
    return complete_frame(
        fit_homography(grid, straight.project(grid)),
        photo=photo, layout=LAYOUT, settings=SETTINGS, located_by="corners", k1=view.k1,
    )  # fmt: skip


def scaled(photo, px_per_mm):
    matrix = np.diag([px_per_mm, px_per_mm, 1.0])
    return complete_frame(matrix, photo=photo, layout=LAYOUT, settings=SETTINGS, located_by="corners")


def disc_board():
    """Dark discs of 12 mm radius on light ground, and their exact centres in mm (raster pixel centres)."""
    size = (round((280 + 2 * MARGIN_MM) / BOARD_MM), round((540 + 2 * MARGIN_MM) / BOARD_MM))
    board = np.full(size, 160, np.uint8)
    centres = [(x, y) for y in range(400, 1300, 170) for x in range(400, 2300, 230)]
    for centre in centres:
        cv2.circle(board, centre, 48, 20, -1)
    return board, (np.array(centres) + 0.5) * BOARD_MM - MARGIN_MM


def disc_centre(grey, near, reach):
    """Centroid of what is dark around a place, by moments."""
    left, top = np.rint(near).astype(int) - reach
    dark = 160.0 - grey[top : top + 2 * reach + 1, left : left + 2 * reach + 1]
    dark[dark < 5] = 0  # ground
    rows, cols = np.mgrid[: dark.shape[0], : dark.shape[1]]
    return left + (cols * dark).sum() / dark.sum(), top + (rows * dark).sum() / dark.sum()


@pytest.mark.parametrize("k1", [0.0, -0.08])
@pytest.mark.parametrize("mm_per_px", [0.6, 1.2, 1.9])  # as fine as the photo; smoothed; shrunk by 3
def test_things_come_out_at_their_millimetres(k1, mm_per_px):
    view = camera(tilt_deg=7, towards_deg=50, turn_deg=12, width_px=1200, height_px=800, focal_px=1000, k1=k1)
    board, centres_mm = disc_board()
    photo = photograph(board, view, noise=0)
    got = rectify(photo, known_frame(photo, view), LAYOUT, mm_per_px=mm_per_px, margin_mm=20)
    places = got.to_px(centres_mm)
    seen = np.array([disc_centre(got.rgb[..., 0], place, reach=int(16 / mm_per_px)) for place in places])
    # Grey-weighted centroids of discs 12 px across and more are good to a few hundredths of a pixel; a shift of half a
    # pixel anywhere in the chain (0.5, or 0.25 and 0.33 after shrinking by 2 and 3) would show.
    assert np.abs(seen - places).max() < 0.06


def test_grid_covers_outline_and_margin_evenly():
    photo = photo_of(np.full((560, 1080, 3), 90, np.uint8))
    frame = scaled(photo, 2.0)
    got = rectify(photo, frame, LAYOUT, mm_per_px=0.5, margin_mm=10)
    assert got.rgb.shape == (600, 1120, 3)  # (280 + 20)/0.5 × (540 + 20)/0.5
    assert got.rgb.dtype == np.uint8
    middle = got.to_mm(np.array([[(1120 - 1) / 2, (600 - 1) / 2]]))
    np.testing.assert_allclose(middle, [[270, 140]])
    np.testing.assert_allclose(got.to_px(got.to_mm(middle)), middle)


@pytest.mark.parametrize("k1", [0.0, -0.05])
def test_inside_is_where_the_photo_reaches(k1):
    photo = photo_of(np.full((400, 600, 3), 200, np.uint8))
    matrix = np.array([[1.2, 0.1, 40.0], [-0.05, 1.1, 30.0], [0, 0, 1.0]])
    frame = complete_frame(matrix, photo=photo, layout=LAYOUT, settings=SETTINGS, located_by="corners", k1=k1)
    got = rectify(photo, frame, LAYOUT, mm_per_px=1.0, margin_mm=30)
    height, width = got.inside.shape
    cols, rows = np.meshgrid(np.arange(-9.0, width + 9), np.arange(-9.0, height + 9))  # 9 more all round
    seen = frame.to_px(got.to_mm(np.stack([cols.ravel(), rows.ravel()], axis=1)))
    around = ((seen >= 0) & (seen <= (599, 399))).all(axis=1).reshape(cols.shape)
    reached = around[9:-9, 9:-9]
    assert not (got.inside & ~reached).any()
    # The border is drawn on whole pixels and taken in by one, diagonally at most: 1.5 + √2 pixels.
    depth = cv2.distanceTransform(around.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)[9:-9, 9:-9]
    assert depth[reached & ~got.inside].max() <= 1.5 + np.sqrt(2)
    assert (got.rgb[got.inside] == 200).all()
    assert not got.inside.all()


def test_shrinking_does_not_alias():
    # Stripes of 2 px period, seen at a quarter: their mean is 100; plain bilinear sampling would give 0 or 200.
    rgb = np.zeros((1120, 2160, 3), np.uint8)
    rgb[:, ::2] = 200
    photo = photo_of(rgb)
    frame = scaled(photo, 4.0)
    got = rectify(photo, frame, LAYOUT, mm_per_px=1.0, margin_mm=0)
    inner = got.rgb[5:-5, 5:-5]
    assert np.abs(inner.astype(int) - 100).max() <= 1  # one code of rounding


@pytest.mark.parametrize("k1", [0.0, -0.08])
@pytest.mark.parametrize("reduction", [1, 2])
def test_labels_return_to_the_photo(k1, reduction):
    view = camera(tilt_deg=6, turn_deg=8, width_px=900, height_px=600, focal_px=800, k1=k1)
    photo = photo_of(np.zeros((600, 900, 3), np.uint8), reduction=reduction)
    frame = known_frame(photo, view)
    got = rectify(photo, frame, LAYOUT, mm_per_px=0.5, margin_mm=15)
    x, y = (got.to_mm(np.stack(np.meshgrid(*map(np.arange, got.rgb.shape[1::-1])), -1).reshape(-1, 2).astype(float))).T
    labels = (np.floor(y / 20) * 40 + np.floor(x / 20) + 1000).astype(np.uint16).reshape(got.inside.shape)
    size = {"width_px": 900 * reduction, "height_px": 600 * reduction}
    back = to_photo_grid(labels, got, frame, **size, reduction=reduction)
    assert back.shape == (600 * reduction, 900 * reduction)
    assert back.dtype == np.uint16
    rng = np.random.default_rng(0)
    mm = rng.uniform((5, 5), (535, 275), (500, 2))
    # Not within 1.5 mm of a label's border: both grids round to their own pixels.
    mm = mm[(np.abs((mm + 10) % 20 - 10) > 1.5).all(axis=1)]
    full = (view.project(mm) + 0.5) * reduction - 0.5
    columns, rows = np.rint(full).astype(int).T
    expected = np.floor(mm[:, 1] / 20) * 40 + np.floor(mm[:, 0] / 20) + 1000
    np.testing.assert_array_equal(back[rows, columns], expected)
    assert back[0, 0] == 0  # the tray does not reach the picture's corner


def test_shares_return_smoothly_and_input_is_left_alone():
    photo = photo_of(np.zeros((560, 1080, 3), np.uint8))
    frame = scaled(photo, 2.0)
    grid = Rectified(np.zeros((280, 540, 3), np.uint8), np.ones((280, 540), bool), 1.0, 0.5, 0.5)
    cover = np.tile(np.linspace(0, 1, 540, dtype=np.float32), (280, 1))
    before = cover.copy()
    back = to_photo_grid(cover, grid, frame, width_px=1080, height_px=560, reduction=1, interpolation=cv2.INTER_LINEAR)
    assert back.dtype == np.float32
    # A linear ramp stays one under bilinear sampling; OpenCV's warp keeps places to 1/32 px (of 1/539 a pixel).
    expected = (np.arange(1080) / 2 - 0.5) / 539
    np.testing.assert_allclose(back[280, 10:-10], expected[10:-10], atol=1 / 32 / 539)
    np.testing.assert_array_equal(cover, before)
