"""The soft maps: their size, their places, and that a plain tray is seen and bare ground is not."""

import cv2
import numpy as np
import pytest

from canopy.tray.layouts import layout_from
from canopy.tray.sight import LONG_SIDE_PX, Sight, see_trays

from .board import camera, draw_board, photograph

LAYOUT = layout_from("72")


@pytest.mark.parametrize("size", [(600, 800), (801, 600), (300, 900)])
def test_maps_are_a_thumbnail_of_probabilities(size):
    rgb = np.random.default_rng(0).integers(0, 255, (*size, 3)).astype(np.uint8)
    sight = see_trays(rgb)
    for seen in (sight.any_tray, sight.this_tray, sight.line):
        assert max(seen.shape) == LONG_SIDE_PX
        assert seen.shape[0] / seen.shape[1] == pytest.approx(size[0] / size[1], rel=0.02)  # whole pixels
        assert seen.dtype == np.float32
        assert 0 <= seen.min() <= seen.max() <= 1
    assert sight.photo_px == pytest.approx(max(size) / LONG_SIDE_PX)


def test_places_go_both_ways():
    nothing = np.zeros((96, 128), np.float32)
    sight = Sight(nothing, nothing, nothing, 10.0)
    # Pixel 0 of the thumbnail covers photo pixels 0 to 9, whose middle is 4.5.
    np.testing.assert_allclose(sight.to_photo(np.array([[0.0, 1.0]])), [[4.5, 14.5]])
    np.testing.assert_allclose(sight.to_thumbnail(np.array([[4.5, 14.5]])), [[0.0, 1.0]])


def test_a_tray_is_seen_where_it_lies_and_bare_ground_is_not():
    view = camera(turn_deg=10)
    board = draw_board(LAYOUT, markers=())
    bare = photograph(np.full_like(board, 120), view, noise=4)
    assert see_trays(bare.rgb).this_tray.mean() < 0.05
    edge = [round((mm + 60) / 0.25) for mm in (0, 0, 540, 280)]
    cv2.rectangle(board, (edge[0], edge[1]), (edge[2], edge[3]), 30, 40)
    sight = see_trays(photograph(board, view).rgb)
    inner = view.project(LAYOUT.centres_mm())
    columns, rows = np.rint(sight.to_thumbnail(inner)).astype(int).T
    assert sight.this_tray[rows, columns].mean() > 0.8
