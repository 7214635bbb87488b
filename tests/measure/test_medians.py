from __future__ import annotations

import numpy as np

from canopy.measure.medians import group_medians, row_medians


def test_rows_by_eye():
    table = np.array([[3, 1, 2, np.nan], [np.nan, 4, 8, np.nan], [np.nan] * 4, [7, 1, 3, 5]])
    np.testing.assert_array_equal(row_medians(table), [2, 6, np.nan, 4])


def test_rows_without_values():
    np.testing.assert_array_equal(row_medians(np.empty((2, 0))), [np.nan, np.nan])


def test_groups_against_numpy():
    rng = np.random.default_rng(2)
    table = rng.normal(size=(3, 200))
    table[rng.random(table.shape) < 0.3] = np.nan
    before = table.copy()
    bounds = np.array([0, 5, 5, 6, 90, 200])  # an empty group and one of a single value
    got = group_medians(table, bounds)
    for c in (0, 2, 3, 4):
        for k in range(3):
            values = table[k, bounds[c] : bounds[c + 1]]
            values = values[~np.isnan(values)]
            assert got[k, c] == np.median(values) if values.size else np.isnan(got[k, c])
    assert np.isnan(got[:, 1]).all()
    np.testing.assert_array_equal(table, before)
