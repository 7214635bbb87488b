"""Every ground is physical, repeatable, keeps its size in millimetres; the set is broad."""

from __future__ import annotations

import numpy as np
import pytest

from canopy.synthetic.grounds import GROUNDS, paint_ground


def _ground(kind: str, seed: int, *, height_px: int = 90, width_px: int = 130, mm_per_px: float = 0.6) -> np.ndarray:
    rng = np.random.default_rng([seed, 17])
    return paint_ground(kind, height_px=height_px, width_px=width_px, mm_per_px=mm_per_px, rng=rng)


@pytest.mark.parametrize("kind", GROUNDS)
@pytest.mark.parametrize("mm_per_px", [0.15, 1.0])
def test_ground_is_physical_and_repeatable(kind, mm_per_px):
    first, again = (_ground(kind, 3, mm_per_px=mm_per_px) for _ in range(2))
    assert first.shape == (90, 130, 3)
    assert first.dtype == np.float32
    assert np.isfinite(first).all()
    assert first.min() >= 0
    assert first.max() <= 1
    assert first.tobytes() == again.tobytes()


@pytest.mark.parametrize("kind", GROUNDS)
def test_seeds_differ(kind):
    assert not np.array_equal(_ground(kind, 1), _ground(kind, 2))


def test_grounds_cover_dark_to_bright_and_flat_greens():
    means = np.array([_ground(kind, seed).mean(axis=(0, 1)) for kind in GROUNDS for seed in range(3)])
    light = means.mean(axis=1)
    # What a segmenter must not lean on: that ground is dark, bright or never green. Bounds are the claim itself.
    assert light.min() < 0.03
    assert light.max() > 0.6
    assert (means[:, 1] > 1.15 * means[:, [0, 2]].max(axis=1)).sum() >= 3


@pytest.mark.parametrize("kind", ["bark", "leaf_litter", "straw_litter"])
def test_dead_plant_matter_is_never_green(kind):
    for seed in range(6):
        red, green, _ = np.moveaxis(_ground(kind, seed), 2, 0)
        # Stains and coloured light may touch a few pixels; the rest must not pass for living leaves.
        assert np.mean(green > 1.05 * red) < 0.02


def test_smallest_pictures_work():
    for kind in GROUNDS:
        assert _ground(kind, 0, height_px=2, width_px=3).shape == (2, 3, 3)


def test_unknown_ground_is_named():
    with pytest.raises(ValueError, match="ground 'lava' is unknown; choose one of"):
        paint_ground("lava", height_px=5, width_px=5, mm_per_px=1.0, rng=np.random.default_rng(0))
