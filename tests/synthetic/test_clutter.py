"""Clutter changes the ground where it lies and nowhere it must not."""

from __future__ import annotations

import numpy as np
import pytest

from canopy.synthetic.clutter import CLUTTER, scatter_clutter

GROUND = np.full((160, 220, 3), 0.4, np.float32)


def _strewn(kinds, seed=4, **options):
    return scatter_clutter(GROUND, mm_per_px=0.8, rng=np.random.default_rng(seed), kinds=kinds, **options)


@pytest.mark.parametrize("kind", CLUTTER)
def test_each_kind_shows_and_repeats(kind):
    before = GROUND.copy()
    got = [_strewn([kind], seed=seed, amount=1.0) for seed in range(4)]
    np.testing.assert_array_equal(GROUND, before)
    assert got[0].dtype == np.float32
    assert all(np.isfinite(picture).all() and picture.min() >= 0 and picture.max() <= 1 for picture in got)
    assert any(np.abs(picture - GROUND).max() > 0.05 for picture in got)  # a thing may fall at the very edge once
    assert _strewn([kind], seed=0, amount=1.0).tobytes() == got[0].tobytes()


def test_no_amount_leaves_the_ground_alone():
    np.testing.assert_array_equal(_strewn(["pegs", "stones", "tags"], amount=0.0), GROUND)


def test_kept_off_where_avoided():
    avoid = np.zeros(GROUND.shape[:2], bool)
    avoid[40:120, 50:150] = True
    got = _strewn(CLUTTER, amount=1.0, avoid=avoid)
    np.testing.assert_array_equal(got[avoid], GROUND[avoid])
    assert np.abs(got[~avoid] - 0.4).max() > 0.1


def test_unknown_clutter_is_named():
    with pytest.raises(ValueError, match="clutter 'anvils' is unknown; choose from"):
        _strewn(["anvils"], amount=1.0)
