from __future__ import annotations

import math

import numpy as np
import pytest

from canopy.growth.turned import compare
from canopy.settings.growth import HistorySettings

SETTINGS = HistorySettings()


def _pair(rng, *, rows=6, columns=12, keep=0.8, empty=0.08, smooth=False):
    """Two photos of one tray some days apart: ln areas that correlate by `keep`, some cells empty in both."""
    z = rng.normal(size=(rows, columns))
    if smooth:  # a gradient and its neighbours' likeness, as light and water make it
        z = 0.5 * z + np.linspace(-1.2, 1.2, columns)[None, :]
    later = keep * z + math.sqrt(1 - keep**2) * rng.normal(size=z.shape)
    bare = rng.random(z.shape) < empty
    return np.where(bare, 0.0, np.exp(7 + 0.3 * z)), np.where(bare, 0.0, np.exp(8 + 0.3 * later))


@pytest.mark.parametrize("smooth", [False, True])
def test_turned_trays_are_recognised_and_others_left(smooth):
    rng = np.random.default_rng(11)
    for _ in range(100):
        before, after = _pair(rng, smooth=smooth)
        assert compare(before, after, settings=SETTINGS).turned is False
        assert compare(before, after[::-1, ::-1], settings=SETTINGS).turned is True


def test_small_trays_are_wrong_no_more_often_than_stated():
    # 12 cells, half of what was seen kept: often undecided, but sure answers are wrong in 1 % at most. Of 2 × 1000
    # answers that is 20; the counts are binomial, so 20 + 3·root(20) = 33 may come.
    rng = np.random.default_rng(5)
    wrong = undecided = 0
    for _ in range(1000):
        before, after = _pair(rng, rows=3, columns=4, keep=0.6)
        for turned, photo in ((False, after), (True, after[::-1, ::-1])):
            found = compare(before, photo, settings=SETTINGS).turned
            undecided += found is None
            wrong += found is not None and found is not turned
    assert wrong <= 33
    assert undecided > 0


def test_unlike_patterns_tell_nothing():
    rng = np.random.default_rng(3)
    turned = [
        compare(np.exp(rng.normal(size=(6, 12))), np.exp(rng.normal(size=(6, 12))), settings=SETTINGS).turned
        for _ in range(200)
    ]
    # Two trays that have nothing to do with one another; turning back by mistake would be worse than leaving.
    assert sum(t is True for t in turned) <= 2


def test_too_few_plants_and_even_patterns():
    few = np.full((3, 4), np.nan)
    few[0, :] = [1.0, 2.0, 3.0, 4.0]
    turn = compare(few, few, settings=SETTINGS)
    assert turn.turned is None
    assert math.isnan(turn.probability)
    assert compare(np.ones((3, 4)), np.ones((3, 4)), settings=SETTINGS).turned is None


def test_correlation_by_hand():
    # Ranks of the second are those of the first reversed: −1 as they are, and +1 with the tray turned.
    grid = np.arange(1.0, 13.0).reshape(3, 4)
    turn = compare(grid, grid[::-1, ::-1], settings=SETTINGS)
    assert (turn.same, turn.opposite) == (pytest.approx(-1), pytest.approx(1))
    assert turn.turned is True
