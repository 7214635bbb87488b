"""Plants over days: pure in their arguments, the same leaves on every day, arranged as botany says."""

import math
from dataclasses import replace

import numpy as np
import pytest

from canopy.synthetic.cultivars import CULTIVARS, draw_variety
from canopy.synthetic.growth import size_share
from canopy.synthetic.leaves import paint_leaf
from canopy.synthetic.plants import Plant, Stress, grow_plant


def grow(name: str = "butterhead", *, das: float = 15.0, vigour: float = 1.0, seed: int = 3, **stress) -> Plant:
    return grow_plant(
        CULTIVARS[name], index=5, x_mm=10.0, y_mm=20.0, base_z_mm=-5.0, das=das, vigour=vigour, seed=seed,
        stress=Stress(**stress),
    )  # fmt: skip


def footprint_mm2(plant: Plant) -> float:
    return sum(leaf.area_mm2 for leaf in plant.leaves)


def azimuths(plant: Plant, part: str) -> list[float]:
    return [leaf.azimuth_rad for leaf in plant.leaves if leaf.part == part]


def test_same_arguments_give_the_same_plant():
    first, second = grow("red_leaf"), grow("red_leaf")
    assert first.weight_g == second.weight_g
    for a, b in zip(first.leaves, second.leaves, strict=True):
        assert a.bounds_mm == b.bounds_mm
        assert a.look == b.look
        np.testing.assert_array_equal(a.outline.right_mm, b.outline.right_mm)


def test_another_seed_gives_another_plant():
    assert grow(seed=3).weight_g != grow(seed=4).weight_g


@pytest.mark.parametrize("name", sorted(CULTIVARS))
def test_days_add_leaves_and_length_but_keep_those_there(name):
    young, old = grow(name, das=10.0), grow(name, das=12.0)
    by_turn = {(leaf.part, round(leaf.azimuth_rad, 9)): leaf for leaf in old.leaves}
    assert len(old.leaves) >= len(young.leaves) > 0
    for leaf in young.leaves:
        later = by_turn[(leaf.part, round(leaf.azimuth_rad, 9))]
        assert later.look.offset == leaf.look.offset  # the same pattern, not a new leaf
        assert later.area_mm2 >= 0.97 * leaf.area_mm2  # a leaf that lies down more may look a little shorter or longer
    assert footprint_mm2(old) > footprint_mm2(young)


def test_spiral_leaves_stand_apart_by_the_golden_angle():
    # 360/phi^2 = 137.508 degrees (phyllotaxis textbooks, e.g. Vogel 1979, from memory); the mean over 2 × 14 steps
    # with a jitter
    # of 8 degrees per leaf errs by about 8·sqrt(2)/14
    steps = []
    for seed in (1, 2):
        turns = azimuths(grow("thale_rosette", das=32.0, seed=seed), "leaf")
        assert len(turns) > 14
        steps += list(np.mod(np.diff(np.rad2deg(turns)), 360.0))
    assert np.mean(steps) == pytest.approx(360.0 / ((1 + math.sqrt(5)) / 2) ** 2, abs=2.0)


def test_basil_leaves_come_in_crossed_pairs():
    turns = np.rad2deg(azimuths(grow("basil", das=24.0), "leaf"))
    assert len(turns) >= 4
    # opposite and decussate: half a turn in a pair, a right angle to the next; jitter 6 degrees per leaf, three
    # sigma of two
    assert math.remainder(turns[1] - turns[0] - 180.0, 360.0) == pytest.approx(0.0, abs=25.0)
    assert math.remainder(turns[2] - turns[0] - 90.0, 180.0) == pytest.approx(0.0, abs=25.0)


def test_cotyledons_come_first_and_face_each_other():
    plant = grow("kale", das=5.0)
    assert [leaf.part for leaf in plant.leaves if leaf.part != "stem"] == ["cotyledon", "cotyledon"]
    a, b = np.rad2deg(azimuths(plant, "cotyledon"))
    assert math.remainder(a - b - 180.0, 360.0) == pytest.approx(0.0, abs=30.0)  # jitter 7 degrees each, three sigma


def test_before_emergence_there_is_nothing():
    plant = grow(das=1.0)
    assert plant.leaves == ()
    assert not plant.alive
    assert (plant.weight_g, plant.height_mm, plant.yellow, plant.brown) == (0.0, 0.0, 0.0, 0.0)


def test_growth_of_a_leaf_is_logistic():
    assert size_share(0.0, 10.0) == 0.0
    assert size_share(5.0, 10.0) == pytest.approx(0.5, abs=0.02)  # half way, but for the start moved to 0
    assert size_share(10.0, 10.0) == pytest.approx(0.97, abs=0.01)  # 97 % by definition of the expansion time
    assert size_share(100.0, 10.0) == pytest.approx(1.0, abs=1e-9)


def test_lettuce_sizes_are_plausible():
    # common practice, no source: cotyledon stage 0.3–1 cm², ready to transplant 8–25 cm² with 3–4 leaves, head
    # 300–600 cm²;
    # projected areas without overlap; medians over plants
    def median_cm2(das: float) -> float:
        return float(np.median([footprint_mm2(grow(das=das, seed=seed)) for seed in range(9)])) / 100.0

    assert 0.3 < median_cm2(8.0) < 2.0
    assert 8.0 < median_cm2(15.0) < 30.0
    assert median_cm2(35.0) > 300.0


def test_weight_follows_the_stated_power_of_area():
    flat = replace(CULTIVARS["thale_rosette"], gram_per_cm2=0.05)
    heavy = replace(flat, gram_per_cm2=0.10)
    kwargs = {"index": 1, "x_mm": 0.0, "y_mm": 0.0, "base_z_mm": 0.0, "das": 30.0, "vigour": 1.0, "seed": 1}
    light, double = grow_plant(flat, **kwargs), grow_plant(heavy, **kwargs)
    assert double.weight_g == pytest.approx(2 * light.weight_g, rel=1e-12)
    true_cm2 = (light.weight_g / 0.05) ** (1 / 1.05)
    seen_cm2 = sum(leaf.area_mm2 for leaf in light.leaves if leaf.part != "stem") / 100.0
    assert seen_cm2 < true_cm2 < 1.5 * seen_cm2  # leaves that rise show less than their area; a flat rosette nearly all


def test_vigour_and_age_make_larger_plants():
    sizes = [footprint_mm2(grow(das=16.0, vigour=vigour)) for vigour in (0.4, 0.7, 1.0, 1.3)]
    assert sizes == sorted(sizes)
    assert grow(das=30.0).weight_g > 5 * grow(das=16.0).weight_g


@pytest.mark.parametrize("name", ["butterhead", "cos", "basil", "pak_choi", "cress", "kale"])
def test_wilting_shrinks_the_footprint(name):
    sizes = [footprint_mm2(grow(name, das=18.0, wilting=wilting)) for wilting in (0.0, 0.5, 1.0)]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[-1] < 0.75 * sizes[0]


def test_dead_plants_are_brown_light_and_lie_low():
    alive, dead = grow("butterhead", das=20.0), grow("butterhead", das=20.0, dead=True)
    assert alive.alive
    assert not dead.alive
    assert dead.brown == pytest.approx(1.0, abs=1e-6)  # float32 sums
    assert dead.weight_g < 0.2 * alive.weight_g
    assert dead.height_mm < alive.height_mm
    assert footprint_mm2(dead) < 0.5 * footprint_mm2(alive)


def test_stress_is_counted_in_area():
    sound = grow("cos", das=18.0)
    assert (sound.yellow, sound.brown) == (0.0, 0.0)
    mild, severe = grow("cos", das=18.0, chlorosis=0.4), grow("cos", das=18.0, chlorosis=1.0)
    assert 0.0 < mild.yellow < severe.yellow <= 1.0
    assert severe.yellow > 0.6
    assert 0.01 < grow("cos", das=18.0, tip_burn=1.0).brown < 0.5


def test_counted_damage_agrees_with_a_fine_painting():
    plant = grow("spinach", das=26.0, chlorosis=0.5)
    yellow = area = 0.0
    for leaf in plant.leaves:
        x0, y0, _, x1, y1, _ = leaf.bounds_mm
        x, y = np.meshgrid(np.arange(x0, x1, 0.2, dtype=np.float32), np.arange(y0, y1, 0.2, dtype=np.float32))
        paint = paint_leaf(leaf, x, y, px_mm=0.2)
        yellow += float(paint.coverage[paint.damage == 1].sum()) * 0.04
        area += float(paint.coverage.sum()) * 0.04
    # about 700 samples per leaf, some 7 leaves: a share near one half is known to 1–2 %, and coarse points average
    # the pattern
    assert plant.yellow == pytest.approx(yellow / area, abs=0.05)


def test_younger_leaves_lie_over_older_ones():
    leaves = grow("butterhead", das=30.0).leaves
    layers = [leaf.layer_mm for leaf in leaves]
    assert layers == sorted(layers)
    assert all(leaf.layer_mm >= leaf.top_mm for leaf in leaves)


def test_leaves_carry_the_index_and_stand_on_the_medium():
    plant = grow("pak_choi", das=14.0)
    assert {leaf.plant for leaf in plant.leaves} == {plant.index} == {5}
    assert plant.height_mm == pytest.approx(max(leaf.top_mm for leaf in plant.leaves) + 5.0, abs=1e-9)
    assert all(abs(leaf.x_mm - 10.0) < 15.0 and abs(leaf.y_mm - 20.0) < 15.0 for leaf in plant.leaves)


@pytest.mark.parametrize("name", sorted(CULTIVARS))
def test_leaves_have_plausible_reflectance(name):
    # leaves reflect a few to 30 % of green light (leaf optics textbooks, from memory), darkest in purple ones
    for das in (7.0, 20.0):
        for leaf in grow(name, das=das).leaves:
            if leaf.part == "stem":
                continue
            x0, y0, _, x1, y1, _ = leaf.bounds_mm
            x, y = np.meshgrid(np.linspace(x0, x1, 40, dtype=np.float32), np.linspace(y0, y1, 40, dtype=np.float32))
            paint = paint_leaf(leaf, x, y, px_mm=(x1 - x0) / 40)
            inside = paint.coverage > 0.5
            if inside.sum() < 20:
                continue
            _, green, blue = paint.albedo[inside].mean(axis=0)
            assert 0.008 < green < 0.45
            assert blue < green + 0.02


def test_varieties_keep_the_name_and_differ_by_seed():
    one, same, other = (draw_variety(CULTIVARS["cos"], seed=seed) for seed in (1, 1, 2))
    assert one == same
    assert one != other
    assert one.name == other.name == "cos"


def test_all_asked_crop_types_are_there():
    asked = {
        "butterhead", "cos", "red_leaf", "oak_leaf", "basil", "kale", "rocket", "pak_choi", "cress", "brassica_shoots",
        "spinach", "thale_rosette", "barley",
    }  # fmt: skip
    assert asked <= set(CULTIVARS)
    assert all(name == cultivar.name for name, cultivar in CULTIVARS.items())
