"""Truth by geometry: areas of ellipses, what one leaf hides of another, what counts and what does not."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from canopy.synthetic.cultivars import CULTIVARS
from canopy.synthetic.plants import Stress, grow_plant
from canopy.synthetic.render import move_leaf
from canopy.synthetic.scene import Neighbour
from canopy.synthetic.truth import TRUTH_COLUMNS, measure_truth

from .built import LAYOUT, ellipse_area_mm2, ellipse_leaf, plant_of, scene_of

# 0.3 %: an ellipse of 700 mm² on a raster of 0.25 mm has 370 rim pixels whose coverage errs by some per cent each.
AREA = {"rel": 0.003}


def _lens_mm2(radius: float, apart: float) -> float:
    """Area common to two equal circles (textbook formula)."""
    return 2 * radius**2 * math.acos(apart / (2 * radius)) - apart / 2 * math.sqrt(4 * radius**2 - apart**2)


def _disc(plant: int, x_mm: float, y_mm: float, *, z_mm: float, radius: float = 20.0):
    size = {"length_mm": 2 * radius, "width_mm": 2 * radius}
    return plant_of(plant, ellipse_leaf(plant=plant, x_mm=x_mm - radius, y_mm=y_mm, z_mm=z_mm, **size))


@pytest.mark.parametrize("azimuth", [0.0, 0.4, 2.5])
def test_one_leaf_has_the_area_of_its_outline(azimuth):
    leaf = ellipse_leaf(plant=2, x_mm=93.3, y_mm=41.7, azimuth_rad=azimuth)
    row = measure_truth(scene_of(plant_of(2, leaf))).loc[1]
    assert row.area_mm2 == pytest.approx(leaf.area_mm2, **AREA)
    assert row.area_mm2 == pytest.approx(ellipse_area_mm2(), **AREA)
    assert row.area_alone_mm2 == row.area_mm2
    assert (row.cell, row.state, row.cultivar, row.das) == ("A2", "planted", "butterhead", 12.0)


def test_the_area_is_seen_from_straight_above_at_any_height():
    low, high = (measure_truth(scene_of(_disc(2, 100, 60, z_mm=z))).area_mm2[1] for z in (0.0, 200.0))
    assert high == pytest.approx(low, rel=1e-6)  # parallel rays; float32 sums
    assert measure_truth(scene_of(_disc(2, 100, 60, z_mm=200.0))).leaf_height_mm[1] == pytest.approx(200, abs=1e-3)


def test_two_leaves_of_a_plant_count_once_where_they_overlap():
    one, other = _disc(2, 90, 60, z_mm=0.0), _disc(2, 110, 60, z_mm=5.0)
    row = measure_truth(scene_of(plant_of(2, *one.leaves, *other.leaves))).loc[1]
    assert row.area_mm2 == pytest.approx(2 * math.pi * 400 - _lens_mm2(20, 20), **AREA)
    assert row.height_mm == pytest.approx(5.0, abs=1e-6)


def test_what_a_neighbour_hides_is_left_out():
    below, above = _disc(1, 80, 60, z_mm=0.0), _disc(2, 105, 60, z_mm=30.0)
    truth = measure_truth(scene_of(below, above))
    assert truth.area_mm2[0] == pytest.approx(math.pi * 400 - _lens_mm2(20, 25), **AREA)
    assert truth.area_mm2[1] == pytest.approx(math.pi * 400, **AREA)
    assert truth.area_alone_mm2[0] == pytest.approx(math.pi * 400, **AREA)


def test_grown_plants_hide_each_other_and_never_add_up_to_more_than_the_ground_they_cover():
    grown = [
        grow_plant(CULTIVARS["cos"], index=n, x_mm=x, y_mm=60, base_z_mm=0, das=17.0, vigour=1.0, seed=n)
        for n, x in ((1, 60), (2, 90), (3, 120))
    ]  # fmt: skip
    truth = measure_truth(scene_of(*grown))
    together = measure_truth(scene_of(replace(grown[0], leaves=tuple(leaf for p in grown for leaf in _own(p, 1)))))
    crowd = truth.area_mm2.sum()
    assert (truth.area_mm2[:3] <= truth.area_alone_mm2[:3]).all()
    assert (truth.area_mm2[1:3] < 0.8 * truth.area_alone_mm2[1:3]).all()  # the first is the tallest
    # One plant made of all leaves covers their union; the same sums, parted by plant.
    assert crowd == pytest.approx(together.area_mm2[0], rel=1e-5)


def _own(plant, index: int):
    return [replace(leaf, plant=index) for leaf in plant.leaves]


def test_a_neighbouring_tray_hides_too_but_counts_for_no_cell():
    below, above = _disc(1, 80, 60, z_mm=0.0), _disc(1, 105, 60, z_mm=30.0)
    home = plant_of(1, *(move_leaf(leaf, -300.0, 0.0) for leaf in above.leaves))
    truth = measure_truth(scene_of(below, neighbours=(Neighbour(300.0, 0.0, (home,)),)))
    assert truth.area_mm2[0] == pytest.approx(math.pi * 400 - _lens_mm2(20, 25), **AREA)
    assert (truth.state == "planted").sum() == 1


def test_empty_cells_and_dead_plants_have_no_area():
    dead = replace(_disc(2, 100, 35, z_mm=0.0), alive=False)
    truth = measure_truth(scene_of(dead))
    assert list(truth.columns) == list(TRUTH_COLUMNS)
    assert (truth.state == "empty").all()
    assert truth.area_mm2.isna().all()
    assert truth.cell.tolist() == ["A1", "A2", "A3", "B1", "B2", "B3"]
    assert truth.das[1] == 12.0  # it was sown


def test_a_dead_plant_still_hides():
    below = _disc(1, 80, 60, z_mm=0.0)
    dead = replace(_disc(2, 105, 60, z_mm=30.0), alive=False)
    assert measure_truth(scene_of(below, dead)).area_mm2[0] == pytest.approx(math.pi * 400 - _lens_mm2(20, 25), **AREA)


def test_shoots_of_one_cell_count_together():
    shoots = [_disc(2, 80, 60, z_mm=0.0, radius=8.0), _disc(2, 110, 60, z_mm=12.0, radius=8.0)]
    row = measure_truth(scene_of(replace(shoots[0], alive=False), shoots[1])).loc[1]
    assert row.state == "planted"
    assert row.area_mm2 == pytest.approx(math.pi * 64, rel=0.006)  # a smaller disc: twice the rim per area
    both = measure_truth(scene_of(*shoots)).loc[1]
    assert both.area_mm2 == pytest.approx(2 * math.pi * 64, rel=0.006)
    assert both.weight_g == pytest.approx(4.0, abs=1e-9)  # two of 2 g
    assert both.height_mm == pytest.approx(12.0, abs=1e-6)


def test_a_tile_of_a_mat_counts_what_stands_over_it():
    mat = LAYOUT.model_copy(update={"kind": "mat"})
    x = LAYOUT.centres_mm()[:2, 0].mean()  # on the line between tiles A1 and A2
    across, inside = _disc(1, x, 35, z_mm=0.0), _disc(2, x + 30, 35, z_mm=0.0, radius=8.0)
    truth = measure_truth(scene_of(across, inside, layout=mat))
    # Half of 20 mm discs each; the line falls on a column of the raster, which goes to one side: 40 by 0.25 mm.
    assert truth.area_mm2[0] == pytest.approx(math.pi * 200, abs=8)
    assert truth.area_mm2[1] == pytest.approx(math.pi * (200 + 64), abs=8)
    assert truth.area_mm2.sum() == pytest.approx(math.pi * (400 + 64), **AREA)


def test_a_coarser_raster_tells_the_same():
    scene = scene_of(_disc(2, 100, 60, z_mm=0.0))
    coarse, fine = (measure_truth(scene, mm_per_px=step).area_mm2[1] for step in (0.8, 0.25))
    assert coarse == pytest.approx(fine, rel=0.005)  # coverage is a share of the pixel, not in or out


def test_damaged_shares_are_shares_of_the_area():
    grown = grow_plant(
        CULTIVARS["butterhead"], index=2, x_mm=100, y_mm=60, base_z_mm=0, das=18.0, vigour=1.0, seed=2,
        stress=Stress(chlorosis=0.9),
    )  # fmt: skip
    row = measure_truth(scene_of(grown)).loc[1]
    assert 0.1 < row.yellow_fraction <= 1
    assert row.brown_fraction == pytest.approx(0, abs=0.02)
    assert row.yellow_fraction == pytest.approx(grown.yellow, abs=0.1)  # the plant's own tally, leaf by leaf
