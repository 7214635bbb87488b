from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from canopy.measure.pattern import NO_PATTERN, TOO_FEW, describe_pattern, explanations
from canopy.measure.spatial import moran_i
from canopy.settings.measure import PatternSettings

SETTINGS = PatternSettings()


def even_tray(rows=6, columns=12, *, seed=0, cv=0.1):
    return 500 * np.random.default_rng(seed).normal(1, cv, (rows, columns))


def told(grid, *, seed=0):
    p = moran_i(grid, permutations=SETTINGS.permutations, seed=seed).p
    return describe_pattern(grid, moran_p=p, settings=SETTINGS)


def test_weak_row():
    grid = even_tray()
    grid[2] *= 0.6
    assert told(grid) == "row C weak"


def test_weak_neighbouring_columns():
    grid = even_tray()
    grid[:, 9:12] *= 0.6
    assert told(grid) == "columns 10–12 weak"


def test_weak_columns_apart():
    grid = even_tray(cv=0.05)
    grid[:, [1, 6]] *= 0.6
    assert told(grid) == "columns 2, 7 weak"


def test_strong_row():
    grid = even_tray()
    grid[0] *= 1.7
    assert told(grid) == "row A strong"


def test_rows_past_z():
    grid = even_tray(30, 8, cv=0.03)
    grid[27] *= 0.5
    assert told(grid) == "row AB weak"


@pytest.mark.parametrize(("factor", "word"), [(0.65, "edge weak"), (1.5, "edge strong")])
def test_edge(factor, word):
    grid = even_tray()
    grid[1:-1, 1:-1] /= factor
    assert told(grid) == word


@pytest.mark.parametrize(
    ("down", "across", "text"),
    [
        (0, -0.6, "gradient towards column 12"),
        (0, 0.6, "gradient towards column 1"),
        (-0.6, 0, "gradient towards row F"),
        (0.6, 0, "gradient towards row A"),
        (-0.5, -0.5, "gradient towards corner F12"),
        (0.5, -0.5, "gradient towards corner A12"),
    ],
)
def test_gradient(down, across, text):
    grid = even_tray(cv=0.05)
    slope = np.add.outer(down * np.linspace(-0.5, 0.5, 6), across * np.linspace(-0.5, 0.5, 12))
    assert told(grid * (1 + slope)) == text


def test_late_germination_in_patches_and_scattered():
    grid = even_tray(12, 24, cv=0.08)
    patches = grid.copy()
    for row, column in ((2, 3), (8, 10), (3, 18), (9, 20)):
        patches[row - 1 : row + 2, column - 1 : column + 2] *= 0.3
    assert told(patches) == "late germination in patches"
    scattered = grid.copy()
    late = np.random.default_rng(5).permutation(288)[:60]
    scattered.ravel()[late] *= 0.3
    assert moran_i(scattered, permutations=999, seed=0).p > 0.05
    assert told(scattered) == "late germination here and there"


def test_patches_without_two_sizes():
    rows, columns = np.indices((12, 24))
    grid = 500 + 40 * np.sin(rows / 1.5) * np.sin(columns / 1.5) + even_tray(12, 24, cv=0.02) - 500
    assert told(grid) == "patches"


@pytest.mark.parametrize("shape", [(4, 5), (6, 12)])
def test_chance_is_rarely_a_pattern(shape):
    # Moran's p ≤ 0.05 rings in 5 of 100 even trays, four F tests at 0.01 in fewer than 4 more, so at most 9 of 100;
    # 19 is the 99.9 % point of that binomial.
    told_of = [told(even_tray(*shape, seed=seed, cv=0.2), seed=seed) for seed in range(100)]
    assert sum(text != NO_PATTERN for text in told_of) <= 19


def test_no_pattern_in_wheat_edge(wheat):
    # Published trial: strong column differences, no edge effect (Welch p 0.71): the edge must not be named.
    assert "edge" not in told(wheat)


def test_radish_edge_shows(radish):
    # Heath's boxes: edge plants weigh 1.6 times inner ones in all four boxes together.
    together = np.nanmean(np.stack(list(radish.values())), axis=0)
    assert told(together) == "edge strong"


def test_few_plants():
    grid = np.full((3, 5), np.nan)
    grid[0] = [1, 2, 3, 4, 5]
    assert describe_pattern(grid, moran_p=0.01, settings=SETTINGS) == TOO_FEW


def test_accounts_by_hand():
    rows = np.repeat(np.array([[1.0], [2], [4]]), 4, axis=1)
    accounts = {account.kind: account for account in explanations(rows)}
    assert accounts["rows"].share == pytest.approx(1)
    assert accounts["rows"].p == pytest.approx(0)
    assert accounts["columns"].share == 0
    assert accounts["columns"].p == pytest.approx(1)
    # Straight line through 1, 2, 4: slope 1.5, R² = 4.5/4.667 = 27/28; adjusted for n = 12 and 3 parameters.
    assert accounts["gradient"].share == pytest.approx(1 - (1 - 27 / 28) * 11 / 9)


def test_accounts_of_wheat_against_anova(wheat):
    # One-way F tests by scipy; every digit but those lost in tails of 1e-12.
    accounts = {account.kind: account for account in explanations(wheat)}
    assert accounts["rows"].p == pytest.approx(stats.f_oneway(*wheat).pvalue, rel=1e-9)
    assert accounts["columns"].p == pytest.approx(stats.f_oneway(*wheat.T).pvalue, rel=1e-6)
    n, r2 = 500, 0.09167049  # R² of yield ~ row + column in R
    assert accounts["gradient"].p == pytest.approx(stats.f.sf(r2 / 2 / ((1 - r2) / (n - 3)), 2, n - 3), rel=1e-4)


def test_impossible_accounts_are_left_out():
    assert {e.kind for e in explanations(np.ones((1, 9)) * np.arange(9))} == {"gradient"}
    assert "edge" not in {e.kind for e in explanations(np.ones((2, 9)) * np.arange(9))}
    assert explanations(np.full((3, 4), np.nan)) == ()


def test_all_equal_plants():
    assert told(np.full((4, 6), 30.0)) == NO_PATTERN
