from __future__ import annotations

import math
import time

import numpy as np
import pytest
from scipy import stats

from canopy.measure.spatial import edge_effect, geary_c, linear_trend, median_polish, moran_i

CHECKERBOARD = np.indices((4, 4)).sum(axis=0) % 2 * 1.0
HALVES = np.repeat([[1.0, 1.0, 0.0, 0.0]], 4, axis=0)
RAMP = np.repeat([[1.0, 2.0, 3.0, 4.0]], 4, axis=0)


@pytest.mark.parametrize(
    ("grid", "queen", "expected"),
    [
        (CHECKERBOARD, False, -1.0),  # by definition: every neighbour is the opposite
        (HALVES, False, 2 / 3),  # 24 links, 4 of them across: (20 − 4)/24, by hand
        (RAMP, False, 2 / 3),
        (np.arange(1.0, 10).reshape(3, 3), False, 0.5),
        (HALVES, True, 11 / 21),  # 42 links, 10 across
    ],
)
def test_moran_by_hand(grid, queen, expected):
    assert moran_i(grid, queen=queen).i == pytest.approx(expected, abs=1e-9)


# Made with R (spdep 1.2-7) and confirmed with Python (esda 2.9) on the published tables, binary weights: I, variance
# under randomisation, Geary's C, to 10 digits or more.
R_TABLE = [
    ("wheat", False, 0.405527973109, 0.00103945733549, 0.588194008116),
    ("wheat", True, 0.309094375213, 0.000527472953742, 0.681793809706),
    ("wheat 5x5", False, 0.0277150542804, 0.0211982230742, 0.808591964522),
    ("B1", False, 0.1088119241, 0.005353883304, 0.8266306448),
]


@pytest.mark.parametrize(("name", "queen", "i", "variance", "c"), R_TABLE)
def test_published_fields(name, queen, i, variance, c, wheat, radish):
    grid = {"wheat": wheat, "wheat 5x5": wheat[:5, :5], **radish}[name]
    got = moran_i(grid, queen=queen)
    assert got.i == pytest.approx(i, rel=1e-9)  # printed digits
    assert got.expected == pytest.approx(-1 / (grid.size - 1), rel=1e-12)
    assert got.variance == pytest.approx(variance, rel=1e-9)
    assert geary_c(grid, queen=queen) == pytest.approx(c, rel=1e-9)


def test_moran_with_missing_cells_by_brute_force(radish):
    grid = radish["B3"].copy()  # one missing
    grid[0, 0] = grid[7, 7] = np.nan
    cells = [tuple(rc) for rc in np.argwhere(~np.isnan(grid))]
    z = {rc: grid[rc] - np.nanmean(grid) for rc in cells}
    links = [(a, b) for a in cells for b in cells if abs(a[0] - b[0]) + abs(a[1] - b[1]) == 1]  # both directions
    squares = sum(v**2 for v in z.values())
    n = len(cells)
    expected = n / len(links) * sum(z[a] * z[b] for a, b in links) / squares
    geary = (n - 1) / (2 * len(links)) * sum((z[a] - z[b]) ** 2 for a, b in links) / squares
    assert moran_i(grid).i == pytest.approx(expected, rel=1e-12)
    assert geary_c(grid) == pytest.approx(geary, rel=1e-12)


def test_permutation_p_agrees_with_the_normal_approximation(wheat):
    grid = wheat[:6, :10]
    got = moran_i(grid, permutations=9999, seed=4)
    normal = stats.norm.sf((got.i - got.expected) / math.sqrt(got.variance))
    # Standard error of p at 9999 permutations is below 0.005; the skew of I adds as much again.
    assert got.p == pytest.approx(normal, abs=0.015)


def test_permutation_p_counts_itself(wheat):
    assert moran_i(wheat, permutations=999, seed=1).p == pytest.approx(0.001)  # (1 + 0)/(1 + 999): z is 12.6
    assert moran_i(CHECKERBOARD, permutations=99, seed=1).p == pytest.approx(1.0)  # every arrangement reaches −1


def test_permutation_p_of_all_arrangements():
    # 2 × 2 with one different value: all four arrangements are alike, so every I* = I and p = 1 despite rounding.
    assert moran_i(np.array([[0.1, 0.1], [0.1, 0.7]]), permutations=199, seed=3).p == 1.0


def test_permutation_p_repeats_with_its_seed(radish):
    first = moran_i(radish["B1"], permutations=199, seed=7)
    assert first == moran_i(radish["B1"], permutations=199, seed=7)
    assert first.p != moran_i(radish["B1"], permutations=199, seed=8).p


@pytest.mark.parametrize(
    "grid",
    [
        np.full((3, 4), np.nan),
        np.full((3, 4), 0.1),
        np.array([[1.0, np.nan, 2.0, np.nan, 3.0, np.nan, 4.0]]),  # no neighbours left
        np.array([[1.0, 2.0, np.nan]]),
    ],
)
def test_moran_undefined(grid):
    got = moran_i(grid, permutations=99, seed=0)
    assert math.isnan(got.i)
    assert math.isnan(got.p)
    assert math.isnan(geary_c(grid))


def test_large_grids_are_permuted_in_batches():
    grid = np.random.default_rng(3).normal(size=(150, 200))  # 30,000 cells: 66 permutations per batch
    start = time.perf_counter()
    assert 0 < moran_i(grid, permutations=99, seed=0).p <= 1
    assert time.perf_counter() - start < 5  # takes 0.1 s; a guard against a loop over cells


def test_edge_effect_by_hand():
    grid = np.full((4, 4), 8.0)
    grid[1:3, 1:3] = 10.0
    assert edge_effect(grid).effect == pytest.approx(-0.20, abs=1e-9)
    assert math.isnan(edge_effect(grid).p)  # no variance on either side


# Per box, edge minus interior: Welch's t printed by R's t.test to 6 digits.
@pytest.mark.parametrize(("block", "t"), [("B1", 2.52687), ("B2", 4.25174), ("B3", 3.31705), ("B4", 4.24930)])
def test_edge_effect_of_radish(block, t, radish):
    got = edge_effect(radish[block])
    assert got.t == pytest.approx(t, abs=5e-6)
    assert got.effect > 0
    assert got.p < 0.02


def test_edge_effect_of_all_radish_matches_the_book(radish):
    rims, inners = [], []
    for box in radish.values():
        inner = box[1:-1, 1:-1]
        inners.append(inner[~np.isnan(inner)])
        rims.append(box[_is_rim(box)])
    assert np.concatenate(rims).mean() == pytest.approx(9.36, abs=0.005)  # Heath 1970 prints 9.36 and 5.80
    assert np.concatenate(inners).mean() == pytest.approx(5.80, abs=0.005)


def _is_rim(box):
    mask = np.ones(box.shape, bool)
    mask[1:-1, 1:-1] = False
    return mask


def test_no_edge_effect_in_wheat(wheat):
    got = edge_effect(wheat)
    assert got.t == pytest.approx(-0.37146, abs=5e-6)  # R t.test
    assert got.p == pytest.approx(0.711, abs=5e-4)
    assert got.effect == pytest.approx(3.9311628 / 3.9522705 - 1, abs=1e-7)


def test_welch_against_scipy(radish):
    box = radish["B3"]
    mask = _is_rim(box)
    expected = stats.ttest_ind(box[mask], box[~mask], equal_var=False, nan_policy="omit")
    got = edge_effect(box)
    assert got.t == pytest.approx(expected.statistic, rel=1e-12)
    assert got.p == pytest.approx(expected.pvalue, rel=1e-9)


@pytest.mark.parametrize("shape", [(1, 9), (2, 6), (6, 2)])
def test_no_inner_cells_no_edge_effect(shape):
    assert math.isnan(edge_effect(np.ones(shape)).effect)


def test_median_polish_textbook():
    # Tukey 1977; a known 5 × 3 textbook table (from memory), polish done by hand.
    table = np.array([[14, 15, 14], [7, 4, 7], [8, 2, 10], [15, 9, 10], [0, 2, 0]], dtype=float)
    before = table.copy()
    overall, rows, columns, residuals = median_polish(table)
    assert overall == pytest.approx(8, abs=1e-9)
    np.testing.assert_allclose(rows, [6, -1, 0, 2, -8], atol=1e-9)
    np.testing.assert_allclose(columns, [0, -1, 0], atol=1e-9)
    np.testing.assert_allclose(overall + rows[:, None] + columns + residuals, table, atol=1e-9)
    np.testing.assert_array_equal(table, before)


def test_median_polish_ignores_one_odd_cell():
    grid = np.array([[10, 20, 10], [10, 48, 10], [10, 20, 10]], dtype=float)
    _, _, _, residuals = median_polish(grid)
    expected = np.zeros((3, 3))
    expected[1, 1] = 28
    np.testing.assert_allclose(residuals, expected, atol=1e-9)


def test_median_polish_with_missing():
    grid = np.add.outer([0.0, 10, 20, 30], [0.0, 1, 2, 3, 4])
    grid[1, 2] = np.nan
    grid[3] = np.nan
    overall, rows, columns, residuals = median_polish(grid)
    assert overall == pytest.approx(12)  # additive table: medians of its rows and columns
    np.testing.assert_allclose(rows, [-10, 0, 10, np.nan])
    np.testing.assert_allclose(columns, [-2, -1, 0, 1, 2])
    assert np.nanmax(np.abs(residuals)) == pytest.approx(0, abs=1e-12)
    assert math.isnan(median_polish(np.full((2, 3), np.nan))[0])


def test_trend_of_wheat(wheat):
    # R lm(yield ~ row + col).
    got = linear_trend(wheat)
    assert got.intercept == pytest.approx(4.230760263, rel=1e-8)
    assert got.per_row == pytest.approx(-0.003293835, rel=1e-6)
    assert got.per_column == pytest.approx(-0.019041154, rel=1e-7)
    assert got.r2 == pytest.approx(0.09167049, rel=1e-6)


def test_trend_of_a_plane_with_holes():
    plane = 5 + np.add.outer(2.0 * np.arange(1, 5), -1.0 * np.arange(1, 8))
    plane[2, 3] = plane[0, 6] = np.nan
    got = linear_trend(plane)
    assert (got.intercept, got.per_row, got.per_column, got.r2) == pytest.approx((5, 2, -1, 1))


def test_trend_of_one_row():
    got = linear_trend(np.array([[1.0, 2, 3, 4, 5]]))
    assert (got.per_row, got.per_column) == pytest.approx((0, 1))
    assert math.isnan(linear_trend(np.full((3, 3), 2.0)).r2)
