import numpy as np
import pytest

from canopy.records import Height
from canopy.segment.cellgrid import cell_grid

from .drawn import FLAT, layout


def test_ring_surrounds_the_layouts_own_centres_and_numbers():
    tray = layout(3, 5, pitch=30.0)
    grid = cell_grid(tray, FLAT)
    ours = grid.numbers() > 0
    assert grid.count == 5 * 7
    np.testing.assert_array_equal(grid.numbers()[ours], np.arange(1, 16))
    np.testing.assert_allclose(grid.centres_mm()[ours], tray.centres_mm(), rtol=1e-6)


@pytest.mark.parametrize("row_offset_mm", [0.0, 15.0])
def test_every_centre_lies_in_its_own_cell(row_offset_mm):
    tray = layout(4, 5, pitch=30.0).model_copy(update={"row_offset_mm": row_offset_mm})
    grid = cell_grid(tray, FLAT)
    x, y = grid.centres_mm().T
    np.testing.assert_array_equal(grid.cell_at(x + 11, y - 13), np.arange(grid.count))


def test_far_places_count_to_the_ring():
    grid = cell_grid(layout(3, 5, pitch=30.0), FLAT)
    x, y = np.array([-500, 900], np.float32), np.array([-500, 900], np.float32)
    np.testing.assert_array_equal(grid.cell_at(x, y), [0, grid.count - 1])


def test_leaves_are_rooted_nearer_to_the_nadir():
    # A point at height h under a lens at height d, seen at distance ρ from the nadir, stands at ρ·(d − h)/d; half
    # the canopy's 50 mm under 600 mm: 200 · 575/600 = 191.667 mm.
    tray = layout(3, 5)
    grid = cell_grid(tray, Height(50.0, "typed", 600.0, "typed", (10.0, 20.0)))
    x, y = grid.rooted_mm(np.array([210.0], np.float32), np.array([20.0], np.float32))
    assert x[0] == pytest.approx(10 + 191.667, abs=1e-3)
    assert y[0] == pytest.approx(20.0)
    unknown = cell_grid(tray, Height(None, "unknown", 600.0, "typed", (10.0, 20.0)))
    assert unknown.stretch == 1


def test_distance_beyond_the_outline():
    tray = layout(2, 3, pitch=30.0, rim=10.0)  # 110 × 80 mm
    x, y = np.array([-5, 55, 120, 55], np.float32), np.array([40, 40, 40, 84], np.float32)
    np.testing.assert_allclose(cell_grid(tray, FLAT).beyond_mm(x, y), [5, -40, 10, 4])
