from __future__ import annotations

import numpy as np
import pytest

from canopy.measure.height import area_factor, height_effect, top_area
from canopy.records import Height
from canopy.settings.measure import AreaSettings

# Round figures for sums by hand: medium at the rim, plants that keep their form.
BY_HAND = {"medium_below_rim_mm": 0.0, "leaf_level": 0.6, "height_exponent": 0.5, "lean_sd": 0.0, "side_bare_mm": 0.0}
SETTINGS = AreaSettings(**BY_HAND)
THREE = np.array([100.0, 400.0, 900.0])
PLANTED = np.ones(3, dtype=bool)
BELOW = np.zeros(3)  # straight below the lens, where no plant shows its side


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
    got = height_effect(THREE, PLANTED, BELOW, height=known(), stage="finish", settings=SETTINGS)
    # Median plant 400 mm²: relative heights √(1/4) = 0.5, 1, √(9/4) = 1.5, times leaf level 0.6 of 100 mm.
    np.testing.assert_allclose(got.height_mm, [30, 60, 90])
    np.testing.assert_allclose(got.factor, [0.97**2, 0.94**2, 0.91**2])
    np.testing.assert_allclose(got.scale, [0.97, 0.94, 0.91])
    np.testing.assert_allclose(got.shift_ln, 0)


def test_known_uncertainty_by_finite_difference():
    settings = AreaSettings(camera_rel_sd=0.0, height_rel_sd=0.1, **BY_HAND)
    got = height_effect(THREE, PLANTED, BELOW, height=known(), stage="finish", settings=settings)
    eps = 1e-6
    slope = (np.log(area_factor(got.height_mm * (1 + eps), 1000)) - np.log(area_factor(got.height_mm, 1000))) / eps
    np.testing.assert_allclose(got.sd_ln, np.abs(slope) * 0.1, rtol=1e-4)  # first-order error propagation


def test_plants_grow_up_from_a_medium_below_the_rim():
    settings = AreaSettings(**(BY_HAND | {"medium_below_rim_mm": 10.0}))
    got = height_effect(THREE, PLANTED, BELOW, height=known(canopy_mm=20.0), stage="seedling", settings=settings)
    # Tops 30 mm over the medium, leaves at 0.6 of that, relative heights 0.5, 1, 1.5, medium 10 mm below the rim.
    np.testing.assert_allclose(got.height_mm, [-1, 8, 17])
    np.testing.assert_allclose(got.factor, [1.001**2, 0.992**2, 0.983**2])


def test_flat_canopy_needs_no_correction():
    got = height_effect(THREE, PLANTED, BELOW, height=known(canopy_mm=0.0), stage="seedling", settings=SETTINGS)
    np.testing.assert_array_equal(got.factor, 1)
    np.testing.assert_array_equal(got.sd_ln, 0)


def test_leaves_never_reach_the_lens():
    got = height_effect(
        THREE, PLANTED, BELOW, height=known(canopy_mm=3000.0, camera_mm=300.0), stage="", settings=SETTINGS
    )
    assert (got.height_mm <= 0.8 * 300).all()
    assert np.isfinite(got.sd_ln).all()


@pytest.mark.parametrize("stage", ["seedling", "finish", "mat", ""])
def test_unknown_heights_do_not_correct_but_cover_the_likely(stage):
    unknown = Height(None, "unknown", None, "unknown", (0.0, 0.0))
    got = height_effect(THREE, PLANTED, BELOW, height=unknown, stage=stage, settings=SETTINGS)
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
        return height_effect(THREE, PLANTED, BELOW, height=height, stage="finish", settings=SETTINGS).sd_ln

    both_unknown = doubt(None, None)
    assert (doubt(100.0, None) < both_unknown).all()
    assert (doubt(None, 900.0) < both_unknown).all()


def test_no_plants():
    got = height_effect(
        np.zeros(3), np.zeros(3, dtype=bool), BELOW, height=known(), stage="seedling", settings=SETTINGS
    )
    np.testing.assert_allclose(got.height_mm, 60)


# An upright cylinder 20 mm wide and 30 mm tall, its top at scale 1, seen at tan θ = 0.25: its top of 100π mm² and the
# shadow of its wall, 20 · 30 · 0.25 = 150 mm² (parallel rays: the shadow is the top's outline swept by H·tan θ).
CYLINDER_MM2 = 100 * np.pi + 150


@pytest.mark.parametrize(
    ("slant_mm2", "tall", "tiered", "side_from"),
    [
        (CYLINDER_MM2, 30.0, 1.0, 0.0),
        (100 * np.pi + 75, 30.0, 0.5, 0.0),  # half of the wall is leaf
        (100 * np.pi + 20 * (30 - 20) * 0.25, 30.0, 1.0, 1.0),  # what stands over one width of 20 mm
        (100 * np.pi, 30.0, 0.0, 0.0),  # a rosette has no wall
        (100 * np.pi, 20.0, 1.0, 1.0),  # just as tall as wide: the wall begins here
        (100 * np.pi, 5.0, 1.0, 1.0),
    ],
)
def test_cylinder_seen_at_a_slant(slant_mm2, tall, tiered, side_from):
    got = top_area(np.array([slant_mm2]), np.array([tall]), np.array([0.25]), tiered=tiered, side_from=side_from)
    np.testing.assert_allclose(got, 100 * np.pi)


def test_top_area_matches_a_drawn_cylinder():
    # The same cylinder by counting: a point of the plane is in shadow when some slice at height z ≤ 30 covers it.
    x, y = np.meshgrid(np.arange(-15, 25, 0.05), np.arange(-12, 12, 0.05))
    slices = [(x - z * 0.25) ** 2 + y**2 <= 100 for z in np.linspace(0, 30, 121)]
    counted = np.any(slices, axis=0).sum() * 0.05**2
    got = top_area(np.array([counted]), np.array([30.0]), np.array([0.25]), tiered=1.0, side_from=0.0)
    np.testing.assert_allclose(got, 100 * np.pi, rtol=2e-3)  # 120 slices leave scallops of under 0.1 % of the area


def test_steep_views_and_no_plant_stay_finite():
    area, tall, slant = (a.ravel() for a in np.meshgrid([0.0, 1.0, 400.0, 1e5], [0.0, 5.0, 300.0], [0.0, 0.3, 2.0]))
    got = top_area(area, tall, slant, tiered=1.0, side_from=0.92)
    assert np.isfinite(got).all()
    assert ((got >= 0) & (got <= area * (1 + 1e-12))).all()


def tiered_effect(tiered, slant=(0.0, 0.2, 0.3), stage="finish", **changes):
    settings = AreaSettings(**(BY_HAND | changes))
    height = Height(100.0, "typed", 1000.0, "typed", (0.0, 0.0), tiered)
    return height_effect(THREE, PLANTED, np.array(slant), height=height, stage=stage, settings=settings)


def test_side_comes_off_plants_with_leaves_in_tiers():
    flat, tiers = tiered_effect(0.0), tiered_effect(1.0, side_from=1.0)
    # The median plant: 400 mm² · 0.94² = 353.44 mm² = π/4·D² + D·(100 − D)·0.2, so 0.5854·D² + 20·D = 353.44 and
    # D = (−20 + √(400 + 4 · 0.5854 · 353.44))/(2 · 0.5854) = 12.844 mm, π/4·D² = 129.56 mm².
    assert tiers.factor[1] * 400 == pytest.approx(129.56, abs=0.01)
    assert tiers.factor[0] == flat.factor[0]  # straight below the lens
    assert (tiers.factor[1:] < flat.factor[1:]).all()
    np.testing.assert_array_equal(tiers.scale, flat.scale)  # places are moved by height alone
    np.testing.assert_allclose(flat.factor, [0.97**2, 0.94**2, 0.91**2])


def test_bare_stem_shows_no_side():
    # 10 mm of bare stem: the same as a plant 10 mm less tall, so 400 · 0.94² = π/4·D² + D·(90 − D)·0.2 of the median:
    # D = (−18 + √(324 + 4 · 0.5854 · 353.44))/(2 · 0.5854) = 13.611 mm, π/4·D² = 145.50 mm².
    got = tiered_effect(1.0, side_from=1.0, side_bare_mm=10.0)
    assert got.factor[1] * 400 == pytest.approx(145.50, abs=0.01)
    all_bare = tiered_effect(1.0, side_bare_mm=150.0)
    np.testing.assert_allclose(all_bare.factor, tiered_effect(0.0).factor, rtol=1e-12)  # rounding


def test_unknown_habit_corrects_nothing_but_reaches_full_tiers():
    unknown, rosette, tiers = tiered_effect(None), tiered_effect(0.0), tiered_effect(1.0)
    np.testing.assert_array_equal(unknown.factor, rosette.factor)
    assert (unknown.sd_ln[1:] > rosette.sd_ln[1:]).all()
    assert (1.96 * unknown.sd_ln >= 0.97 * np.log(rosette.factor / tiers.factor)).all()  # 2 · 0.5 of the whole step


def test_mats_show_no_sides():
    mat, below = tiered_effect(1.0, stage="mat"), tiered_effect(1.0, slant=(0, 0, 0))
    np.testing.assert_array_equal(mat.factor, below.factor)
    np.testing.assert_array_equal(mat.sd_ln, below.sd_ln)


def test_lean_widens_with_slant_and_tallness():
    got = tiered_effect(0.0, lean_sd=0.1, height_rel_sd=0.0, camera_rel_sd=0.0, side_sd=0.0)
    # lean_sd · tan θ · tall/width; tall 50, 100, 150 mm, widths √(4/π · area at scale): 11.0, 21.2, 30.8 mm.
    widths = np.sqrt(4 / np.pi * np.array([97.0**2 / 100, 0.94**2 * 400, 0.91**2 * 900]))
    np.testing.assert_allclose(got.sd_ln, 0.1 * np.array([0.0, 0.2, 0.3]) * np.array([50, 100, 150]) / widths)


def test_unknown_stage():
    with pytest.raises(ValueError, match="use seedling, finish, mat or leave it empty"):
        SETTINGS.of_stage("bloom")


def test_a_recipes_height_is_less_sure_than_a_typed_one():
    # Leaves at h = 0.62 · (45 + 5) − 5 under a lens at 500 mm (leaf_level 0.62, medium 5 mm below the rim), straight
    # below it; an uncertain height adds 2 · 0.3 · (h + 5)/(500 − h) in squares (derivative of 2 ln(1 − h/d)).
    settings = AreaSettings()
    one, there = np.array([400.0]), np.array([True])
    typed, recipe = (
        height_effect(
            one,
            there,
            np.zeros(1),
            height=Height(45.0, source, 500.0, "typed", (0.0, 0.0), 0.0, rel_sd),
            stage="seedling",
            settings=settings,
        )
        for source, rel_sd in (("typed", 0.0), ("recipe", 0.3))
    )
    np.testing.assert_array_equal(typed.factor, recipe.factor)
    leaf = settings.leaf_level * (45.0 + settings.medium_below_rim_mm) - settings.medium_below_rim_mm
    added = 2 * 0.3 * (leaf + settings.medium_below_rim_mm) / (500 - leaf)
    np.testing.assert_allclose(recipe.sd_ln**2 - typed.sd_ln**2, added**2, rtol=1e-9)
