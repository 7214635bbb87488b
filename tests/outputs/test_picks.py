"""The pick list: which cells, in which order, with how much room. Distances are worked out by hand."""

from __future__ import annotations

import numpy as np

from canopy.outputs.picks import PICK_COLUMNS, clearances_mm, pick_list


def test_only_what_is_ready_is_picked_row_by_row(reading):
    picks = pick_list(reading)
    assert picks["cell"].tolist() == ["A1", "B2"]
    assert picks["order"].tolist() == [1, 2]
    assert tuple(picks.columns) == PICK_COLUMNS


def test_order_is_that_of_the_tray_whatever_the_order_of_the_table(reading):
    shuffled = type(reading)("a.jpg", "T1", reading.cells[::-1], reading.trays, reading.criteria)
    assert pick_list(shuffled)["cell"].tolist() == ["A1", "B2"]


def test_a_tray_without_picks_has_the_same_columns(reading):
    cells = reading.cells.assign(decision=reading.cells["decision"].replace("harvest", "wait"))
    picks = pick_list(type(reading)("a.jpg", "T1", cells, reading.trays, reading.criteria))
    assert (len(picks), tuple(picks.columns)) == (0, PICK_COLUMNS)


def test_room_to_the_nearest_neighbour(reading):
    room = clearances_mm(reading.cells)
    # Centres 50 mm apart; radii A1 20, A2 12, A3 15, B1 none, B2 24, B3 10. Nearest: A1-A2 50-20-12, A2-B2 50-12-24,
    # A3-A2 50-15-12, B2-A2 as before, B3-B2 50-10-24.
    np.testing.assert_allclose(room, [18, 14, 23, np.nan, 14, 16])


def test_overlap_is_below_zero_and_a_lone_plant_has_no_neighbour(reading):
    pair = reading.cells.iloc[[0, 1]].assign(diameter_mm=[60.0, 50.0])
    np.testing.assert_allclose(clearances_mm(pair), [-5, -5])
    np.testing.assert_array_equal(clearances_mm(reading.cells.iloc[[0, 3]]), [np.nan, np.nan])
    assert clearances_mm(reading.cells.iloc[:0]).shape == (0,)
