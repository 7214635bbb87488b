"""A short way through points."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from canopy.outputs.path import path_length, short_path


def test_length_by_hand():
    # 3-4-5 triangle from the origin, then 5 along x.
    assert path_length(np.array([[3.0, 4.0], [8.0, 4.0]])) == 10.0
    assert path_length(np.zeros((0, 2))) == 0.0


@pytest.mark.parametrize("seed", range(6))
def test_near_the_shortest_of_all_orders(seed):
    points = np.random.default_rng(seed).uniform(0, 500, (7, 2))
    best = min(path_length(points[list(order)]) for order in permutations(range(7)))
    found = path_length(points[short_path(points, rounds=20)])
    # 2-opt stops at a way that no single turn shortens; of seven points that is at most some percent longer.
    assert found <= 1.1 * best


def test_every_point_once_and_never_longer_than_row_by_row():
    rng = np.random.default_rng(1)
    x, y = np.meshgrid(np.arange(12) * 43.0, np.arange(6) * 43.0)
    points = np.column_stack([x.ravel(), y.ravel()])[np.sort(rng.choice(72, 40, replace=False))]
    order = short_path(points, rounds=20)
    assert sorted(order.tolist()) == list(range(40))
    # Row by row turns back at each end; the short way does not.
    assert path_length(points[order]) < 0.8 * path_length(points)


def test_few_points_and_no_rounds():
    assert short_path(np.zeros((0, 2)), rounds=5).tolist() == []
    assert short_path(np.array([[1.0, 2.0]]), rounds=5).tolist() == [0]
    assert short_path(np.array([[5.0, 0.0], [1.0, 0.0]]), rounds=0).tolist() == [1, 0]
