"""Laying a grid over a drawn tray (see board.py) from a first mapping that is some millimetres off."""

import cv2
import numpy as np
import pytest

from canopy.settings.unaided import UnaidedSettings
from canopy.tray.fit import fit_homography
from canopy.tray.frame import apply_homography
from canopy.tray.lattice import lay_grid
from canopy.tray.layouts import layout_from

from .board import BOARD_MM, MARGIN_MM, camera, draw_board, photograph

SETTINGS = UnaidedSettings()
LAYOUT = layout_from("72")
PITCH = np.array([LAYOUT.pitch_x_mm, LAYOUT.pitch_y_mm])
MISS_MM = np.array([[5, -4], [-6, 3], [4, 6], [-3, -5.0]])  # of the first mapping's corners


def draw_cells(*, plants=True, seed=4):
    """Dark cells in a grey tray on lighter ground, plants of any size a little off their middles."""
    board = draw_board(LAYOUT, markers=())
    rng = np.random.default_rng(seed)

    def at(x, y):
        return round((x + MARGIN_MM) / BOARD_MM), round((y + MARGIN_MM) / BOARD_MM)

    cv2.rectangle(board, at(0, 0), at(540, 280), 150, -1)
    for x, y in LAYOUT.centres_mm():
        cv2.rectangle(board, at(x - 18, y - 18), at(x + 18, y + 18), 60, -1)
        if plants and rng.random() < 0.9:
            dx, dy = rng.normal(0, 3, 2)
            cv2.circle(board, at(x + dx, y + dy), round(rng.uniform(3, 14) / BOARD_MM), 110, -1)
    return board


def first_mapping(view, miss_mm=MISS_MM):
    return fit_homography(LAYOUT.outline_mm, view.project(LAYOUT.outline_mm + miss_mm))


def miss_pitch(grid, view):
    """Farthest corner from the truth, in pitches."""
    seen = apply_homography(grid.px_from_mm, LAYOUT.outline_mm)
    flat = fit_homography(view.project(LAYOUT.outline_mm), LAYOUT.outline_mm)
    return float(np.abs((apply_homography(flat / flat[2, 2], seen) - LAYOUT.outline_mm) / PITCH).max())


@pytest.mark.parametrize("pose", [{}, {"tilt_deg": 12, "towards_deg": 50, "turn_deg": 20}, {"turn_deg": 185}])
def test_grid_moves_onto_the_cells(pose):
    view = camera(**pose)
    rgb = photograph(draw_cells(), view).rgb
    grid = lay_grid(rgb, first_mapping(view), LAYOUT, settings=SETTINGS)
    # Walls are sharp to half a millimetre: a hundredth of the pitch for most cells, a few for corners beyond them.
    assert miss_pitch(grid, view) < 0.05
    assert grid.share == 1
    assert grid.firmness > 0.9
    assert grid.weakest_side > 0.8


def test_plants_alone_carry_a_grid():
    board = draw_board(LAYOUT, markers=())  # equal spots on bare ground
    view = camera(tilt_deg=5, towards_deg=200)
    grid = lay_grid(photograph(board, view).rgb, first_mapping(view), LAYOUT, settings=SETTINGS)
    assert miss_pitch(grid, view) < 0.05
    assert grid.firmness > 0.8


def test_a_grid_half_a_pitch_beside_is_seen_to_stick_out():
    view = camera()
    rgb = photograph(draw_cells(), view).rgb
    beside = first_mapping(view, np.full((4, 2), 0.5) * PITCH * (1, 0))
    grid = lay_grid(rgb, beside, LAYOUT, settings=SETTINGS)
    assert miss_pitch(grid, view) > 0.4
    assert grid.weakest_side < SETTINGS.weakest_side


def test_nothing_agrees_without_cells():
    view = camera()
    noise = np.random.default_rng(0).integers(0, 255, (760, 1200, 3)).astype(np.uint8)
    soft = cv2.GaussianBlur(noise, (0, 0), 4)
    grid = lay_grid(soft, first_mapping(view), LAYOUT, settings=SETTINGS)
    assert grid.firmness < SETTINGS.firmness / 2


def test_agreeing_cells_are_given_in_photo_pixels():
    view = camera(tilt_deg=6)
    grid = lay_grid(photograph(draw_cells(), view).rgb, first_mapping(view), LAYOUT, settings=SETTINGS)
    assert grid.agree.shape == (LAYOUT.rows, LAYOUT.columns)
    assert len(grid.cells_mm) == grid.agree.sum()
    miss = np.hypot(*(grid.cells_px - view.project(grid.cells_mm)).T)
    assert np.median(miss) < 1.0  # a pixel is 0.6 mm; the picture in which cells are compared has 2.7 mm
