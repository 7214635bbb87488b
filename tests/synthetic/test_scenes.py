"""Scenes: the same arguments, the same tray; plants stand where the layout says, the camera sees them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from canopy.records import Layout
from canopy.synthetic.cultivars import CULTIVARS
from canopy.synthetic.drafts import LAYOUTS, Draft, plain_draft
from canopy.synthetic.plants import grow_plant
from canopy.synthetic.scenes import compose, das_for_diameter, grow_tray, make_scene, plant_diameter_mm
from canopy.synthetic.variety import draw_variety

from .built import LAYOUT

SIZE = {"width_px": 320, "height_px": 240}
MAT = Layout(
    name="2x3", rows=2, columns=3, pitch_x_mm=40, pitch_y_mm=30, outline_width_mm=130, outline_height_mm=70, kind="mat"
)


def _draft(seed: int = 1, **changes: object) -> Draft:
    return replace(plain_draft(np.random.default_rng(seed)), layout=LAYOUT, cultivar="butterhead", **changes)


def _wide_draft(**changes: object) -> Draft:
    return replace(_draft(**changes), layout=LAYOUTS["128"])


def _composed(draft: Draft, seed: int = 4, **size: int):
    return compose(draft, grow_tray(draft, das=10.0, seed=seed), kind="plain", seed=seed, **{**SIZE, **size})


def test_the_same_seed_makes_the_same_scene():
    one, other, third = (make_scene("seedlings", seed=seed, **SIZE) for seed in (5, 5, 6))
    assert one.camera == other.camera
    assert one.surroundings == other.surroundings
    assert [leaf.bounds_mm for p in one.plants for leaf in p.leaves] == [
        leaf.bounds_mm for p in other.plants for leaf in p.leaves
    ]
    assert one.camera != third.camera
    assert one.name == "seedlings_00005"
    assert one.tray_id == one.name


@pytest.mark.parametrize(("cultivar", "diameter_mm"), [("butterhead", 30.0), ("butterhead", 90.0), ("kale", 60.0)])
def test_a_typical_plant_is_as_wide_as_asked(cultivar, diameter_mm):
    das = das_for_diameter(cultivar, diameter_mm, seed=3)
    plant = grow_plant(
        draw_variety(CULTIVARS[cultivar], seed=3), index=1, x_mm=0, y_mm=0, base_z_mm=0, das=das, vigour=1.0, seed=3
    )  # fmt: skip
    # Ages come in tenths of a day and nine halvings of 57 days (0.11 d); plants widen by 10 to 25 % a day.
    assert plant_diameter_mm(plant) == pytest.approx(diameter_mm, rel=0.05)


def test_a_plant_before_it_emerges_has_no_width():
    seed = grow_plant(CULTIVARS["basil"], index=1, x_mm=0, y_mm=0, base_z_mm=0, das=0.5, vigour=1.0, seed=1)
    assert plant_diameter_mm(seed) == 0.0


def test_every_cell_gets_its_plant_near_its_middle():
    plants = grow_tray(_wide_draft(empty=0.0), das=4.0, seed=2)
    assert [plant.index for plant in plants] == list(range(1, 129))
    off = np.array([[p.x_mm, p.y_mm] for p in plants]) - LAYOUTS["128"].centres_mm()
    # Drawn with a standard deviation of 5 % of the pitch (1.6 mm); 5 sd hold for 256 draws.
    assert np.abs(off).max() < 5 * 0.05 * 33.0
    assert np.abs(off.mean(axis=0)).max() < 0.6  # 4 standard errors of 128 draws


def test_the_asked_share_of_cells_is_empty_or_dead():
    trays = [grow_tray(_wide_draft(empty=0.3, dead=0.25), das=8.0, seed=seed) for seed in range(4)]
    plants = [plant for tray in trays for plant in tray]
    # Binomial: of 512 cells 358 expected with sd 10.4; of those a quarter dead, sd 8.2; 3 sd each.
    assert len(plants) == pytest.approx(0.7 * 512, abs=31)
    assert sum(not plant.alive for plant in plants) == pytest.approx(0.25 * len(plants), abs=25)


def test_the_same_tray_keeps_its_gaps_as_it_grows():
    young, old = (grow_tray(_draft(empty=0.3), das=das, seed=8) for das in (7.0, 9.0))
    assert [plant.index for plant in young] == [plant.index for plant in old]
    assert all(a.x_mm == b.x_mm for a, b in zip(young, old, strict=True))


def test_patches_make_neighbours_alike():
    xy = LAYOUTS["128"].centres_mm()
    plants = grow_tray(_wide_draft(empty=0.0, patches=1.0, unevenness=0.0), das=9.0, seed=6)
    sizes = np.array([plant_diameter_mm(p) for p in plants]).reshape(8, 16)
    assert xy[1, 0] > xy[0, 0]  # reading order: neighbours along a row follow each other
    assert np.corrcoef(sizes[:, :-1].ravel(), sizes[:, 1:].ravel())[0, 1] > 0.4  # independent sizes: 0 ± 0.09


def test_shoots_of_a_mat_belong_to_the_cell_they_stand_in():
    draft = replace(_draft(empty=0.0), layout=MAT, cultivar="cress")
    plants = grow_tray(draft, das=4.0, seed=2)
    assert {plant.index for plant in plants} == {1, 2, 3, 4, 5, 6}
    centres = MAT.centres_mm()
    for plant in plants:
        x, y = centres[plant.index - 1]
        assert abs(plant.x_mm - x) <= 20.0 + 1e-9  # half a pitch, both ways
        assert abs(plant.y_mm - y) <= 15.0 + 1e-9
    assert len(plants) == 13 * 7  # one every 9 mm from 4.5 mm on, below 120 and below 60 mm


@pytest.mark.parametrize("size", [(320, 240), (240, 320)])
def test_the_whole_tray_and_its_markers_are_in_the_picture(size):
    scene = _composed(_draft(fill=0.8, tilt_deg=0.0, turn_deg=0.0), width_px=size[0], height_px=size[1])
    reach = scene.layout.markers.offset_mm + scene.layout.markers.side_mm
    out = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * reach
    seen = scene.camera.project(np.column_stack([scene.layout.outline_mm + out, np.zeros(4)]))
    assert (seen >= 0).all()
    assert (seen <= np.array(size) - 1).all()
    # The tray's long side lies along the picture's.
    spans = np.ptp(seen, axis=0)
    assert (spans[0] > spans[1]) == (size[0] > size[1])


def test_neighbouring_trays_stand_beside_the_tray_and_its_markers():
    scene = _composed(_draft(neighbours=2))
    assert len(scene.neighbours) == 2
    reach = 2 * LAYOUT.markers.offset_mm + LAYOUT.markers.side_mm
    for other in scene.neighbours:
        gap = max(abs(other.dx_mm) - LAYOUT.outline_width_mm, abs(other.dy_mm) - LAYOUT.outline_height_mm) - reach
        assert 5 <= gap <= 60
        assert 0 in (other.dx_mm, other.dy_mm)
