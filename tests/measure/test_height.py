from __future__ import annotations

import numpy as np
import pytest

from canopy.measure.height import area_factor, height_effect
from canopy.records import Height
from canopy.settings.measure import AreaSettings

# Round figures for sums by hand: medium at the rim, plants that keep their form.
BY_HAND = {"medium_below_rim_mm": 0.0, "leaf_level": 0.6, "height_exponent": 0.5}
SETTINGS = AreaSettings(**BY_HAND)
THREE = np.array([100.0, 400.0, 900.0])
PLANTED = np.ones(3, dtype=bool)


# Similar triangles: a leaf at height h under a lens at d looks (d/(d − h))² too large; printed to 3 decimals.
@pytest.mark.parametrize(
    ("d", "h", "looks"),
    [
        (600, 50, 1.190083),
        (600, 100, 1.440),
        (1000, 50, 1.108),
        (1000, 100, 1.235),
        (1200, 30, 1.052),
        (400, 80, 1.5625),
    ],
)
def test_area_factor(d, h, looks):
    assert 1 / float(area_factor(h, d)) == pytest.approx(looks, abs=5e-4 if looks != 1.190083 else 1e-6)


def known(canopy_mm=100.0, camera_mm=1000.0):
    return Height(canopy_mm, "typed", camera_mm, "typed", (0.0, 0.0))


def test_known_heights_follow_size():
    got = height_effect(THREE, PLANTED, height=known(), stage="finish", settings=SETTINGS)
    # Median plant 400 mm²: relative heights √(1/4) = 0.5, 1, √(9/4) = 1.5, times leaf level 0.6 of 100 mm.
    np.testing.assert_allclose(got.height_mm, [30, 60, 90])
    np.testing.assert_allclose(got.factor, [0.97**2, 0.94**2, 0.91**2])
    np.testing.assert_allclose(got.shift_ln, 0)


def test_known_uncertainty_by_finite_difference():
    settings = AreaSettings(camera_rel_sd=0.0, height_rel_sd=0.1, **BY_HAND)
    got = height_effect(THREE, PLANTED, height=known(), stage="finish", settings=settings)
    eps = 1e-6
    slope = (np.log(area_factor(got.height_mm * (1 + eps), 1000)) - np.log(area_factor(got.height_mm, 1000))) / eps
    np.testing.assert_allclose(got.sd_ln, np.abs(slope) * 0.1, rtol=1e-4)  # first-order error propagation


def test_plants_grow_up_from_a_medium_below_the_rim():
    settings = AreaSettings(medium_below_rim_mm=10.0, leaf_level=0.6, height_exponent=0.5)
    got = height_effect(THREE, PLANTED, height=known(canopy_mm=20.0), stage="seedling", settings=settings)
    # Tops 30 mm over the medium, leaves at 0.6 of that, relative heights 0.5, 1, 1.5, medium 10 mm below the rim.
    np.testing.assert_allclose(got.height_mm, [-1, 8, 17])
    np.testing.assert_allclose(got.factor, [1.001**2, 0.992**2, 0.983**2])


def test_flat_canopy_needs_no_correction():
    got = height_effect(THREE, PLANTED, height=known(canopy_mm=0.0), stage="seedling", settings=SETTINGS)
    np.testing.assert_array_equal(got.factor, 1)
    np.testing.assert_array_equal(got.sd_ln, 0)


def test_leaves_never_reach_the_lens():
    got = height_effect(THREE, PLANTED, height=known(canopy_mm=3000.0, camera_mm=300.0), stage="", settings=SETTINGS)
    assert (got.height_mm <= 0.8 * 300).all()
    assert np.isfinite(got.sd_ln).all()


@pytest.mark.parametrize("stage", ["seedling", "finish", "mat", ""])
def test_unknown_heights_do_not_correct_but_cover_the_likely(stage):
    unknown = Height(None, "unknown", None, "unknown", (0.0, 0.0))
    got = height_effect(THREE, PLANTED, height=unknown, stage=stage, settings=SETTINGS)
    np.testing.assert_array_equal(got.factor, 1)
    assert np.isnan(got.height_mm).all()
    likely = SETTINGS.of_stage(stage)
    relative = np.array([0.5, 1.0, 1.5])
    high_leaf, low_leaf = 0.6 * likely.canopy_high_mm * relative, 0.6 * likely.canopy_low_mm * relative
    least = np.log((1 - np.minimum(high_leaf / SETTINGS.camera_low_mm, 0.8)) ** 2)
    most = np.log((1 - low_leaf / SETTINGS.camera_high_mm) ** 2)
    # 95 % of the range round the shift reaches from the least to the most likely factor.
    np.testing.assert_allclose(got.shift_ln - 1.959964 * got.sd_ln, least, atol=1e-6)
    np.testing.assert_allclose(got.shift_ln + 1.959964 * got.sd_ln, most, atol=1e-6)


def test_each_known_height_narrows_the_doubt():
    def doubt(canopy_mm, camera_mm):
        height = Height(canopy_mm, "typed", camera_mm, "typed", (0.0, 0.0))
        return height_effect(THREE, PLANTED, height=height, stage="finish", settings=SETTINGS).sd_ln

    both_unknown = doubt(None, None)
    assert (doubt(100.0, None) < both_unknown).all()
    assert (doubt(None, 900.0) < both_unknown).all()


def test_no_plants():
    got = height_effect(np.zeros(3), np.zeros(3, dtype=bool), height=known(), stage="seedling", settings=SETTINGS)
    np.testing.assert_allclose(got.height_mm, 60)


def test_unknown_stage():
    with pytest.raises(ValueError, match="use seedling, finish, mat or leave it empty"):
        SETTINGS.of_stage("bloom")
