"""Things above the leaves: opaque where they hide, partial where water lets see through."""

from __future__ import annotations

import numpy as np
import pytest

from canopy.synthetic.over import OVER, paint_over


def _over(kinds, seed=2):
    return paint_over(240, 320, mm_per_px=0.9, rng=np.random.default_rng(seed), kinds=kinds)


@pytest.mark.parametrize("kind", OVER)
def test_each_kind_shows_and_repeats(kind):
    albedo, alpha = _over([kind])
    assert albedo.shape == (240, 320, 3)
    assert alpha.shape == (240, 320)
    assert albedo.dtype == alpha.dtype == np.float32
    assert 0 <= albedo.min() <= albedo.max() <= 1
    assert 0 <= alpha.min() <= alpha.max() <= 1
    assert max(_over([kind], seed)[1].max() for seed in range(3)) > 0.15
    again = _over([kind])
    assert albedo.tobytes() + alpha.tobytes() == again[0].tobytes() + again[1].tobytes()


def test_a_hand_hides_its_own_size():
    # Adult hand breadth is 75–95 mm and length 170–210 mm (from memory of anthropometric tables); with forearm and
    # cut by the edge it covers between a quarter of a palm and hand plus 300 mm of a 60 mm arm.
    for seed in range(5):
        area_mm2 = _over(["hand"], seed)[1].sum() * 0.9**2
        assert 2_000 < area_mm2 < 40_000


def test_water_lets_see_through():
    _, alpha = _over(["droplets"])
    assert np.count_nonzero(alpha > 0.02) > 0
    assert np.median(alpha[alpha > 0.02]) < 0.5


def test_nothing_asked_for_is_nothing():
    _, alpha = _over([])
    assert not alpha.any()


def test_unknown_thing_is_named():
    with pytest.raises(ValueError, match="thing above the leaves 'bird' is unknown; choose from"):
        _over(["bird"])
