"""Pictures against what was put in them: places, sizes, numbers; the same scene, the same bytes."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from canopy.synthetic.render import move_leaf, render
from canopy.synthetic.scene import Neighbour
from canopy.synthetic.truth import measure_truth

from .built import LAYOUT, camera_over, ellipse_area_mm2, ellipse_leaf, plant_of, scene_of


def _disc(cell: int, *, z_mm: float = 0.0, radius_mm: float = 15.0, alive: bool = True):
    """A round plant over the middle of a cell."""
    x, y = LAYOUT.centres_mm()[cell - 1]
    leaf = ellipse_leaf(
        plant=cell, x_mm=x - radius_mm, y_mm=y, z_mm=z_mm, length_mm=2 * radius_mm, width_mm=2 * radius_mm
    )  # fmt: skip
    return plant_of(cell, leaf, alive=alive)


def _centre_px(scene, cell: int) -> tuple[int, int]:
    x, y = LAYOUT.centres_mm()[cell - 1]
    column, row = np.round(scene.camera.project(np.array([[x, y, 0.0]]))[0]).astype(int)
    return row, column


def test_the_same_scene_gives_the_same_bytes():
    scene = scene_of(_disc(2), _disc(5), clutter=("pegs",), clutter_amount=0.5, wet=0.5)
    scene = replace(scene, look=replace(scene.look, noise=0.02), light=replace(scene.light, unevenness=0.2))
    one, other, third = render(scene), render(scene), render(replace(scene, seed=4))
    for name in ("rgb", "canopy", "plant", "damage"):
        assert getattr(one, name).tobytes() == getattr(other, name).tobytes()
    assert one.rgb.tobytes() != third.rgb.tobytes()


def test_a_picture_keeps_its_promises():
    picture = render(scene_of(_disc(2)))
    assert picture.rgb.shape == (480, 640, 3)
    assert picture.canopy.shape == picture.plant.shape == picture.damage.shape == (480, 640)
    assert (picture.rgb.dtype, picture.plant.dtype) == (np.uint8, np.uint16)
    assert ((picture.plant > 0) == (picture.canopy >= 128)).all()  # 128 = half of 255 rounded


@pytest.mark.parametrize("camera", [{}, {"tilt_deg": 12.0, "tilt_towards_deg": 140.0, "turn_deg": 20.0, "k1": -0.05}])
def test_canopy_pixels_times_their_size_are_the_plant_area(camera):
    # Near the picture's middle a level disc on the rim plane covers area / (mm per px)² pixels; tilt by t shrinks it by
    # cos³ t at the axis (foreshortening and distance).
    scene = scene_of(_disc(2, radius_mm=20.0), camera=camera_over(fill=1.2, **camera))
    x, y = LAYOUT.centres_mm()[1]
    ring = np.array([[x + 1, y, 0], [x, y + 1, 0], [x - 1, y, 0], [x, y - 1, 0.0]])
    (ax, ay), (bx, by) = (p[0] - p[1] for p in (scene.camera.project(ring)[[0, 2]], scene.camera.project(ring)[[1, 3]]))
    px_per_mm2 = abs(ax * by - ay * bx) / 4
    picture = render(scene)
    # 0.3 % of sub-pixel coverage, the rest perspective over the disc, whose terms of first order cancel.
    assert picture.canopy.sum(dtype=float) / 255 / px_per_mm2 == pytest.approx(ellipse_area_mm2(40, 40), rel=0.01)
    assert measure_truth(scene).area_mm2[1] == pytest.approx(ellipse_area_mm2(40, 40), rel=0.003)


def test_a_plant_above_the_rim_covers_more_of_the_picture():
    low, high = (render(scene_of(_disc(2, z_mm=z))).canopy.sum(dtype=float) for z in (0.0, 150.0))
    assert high / low == pytest.approx((900 / (900 - 150)) ** 2, rel=0.01)  # similar triangles; coverage as above


def test_markers_are_found_where_they_were_put():
    scene = scene_of(_disc(2), camera=camera_over(width_px=900, height_px=600, tilt_deg=6.0, turn_deg=8.0, k1=0.03))
    found, ids, _ = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), _fine_corners()
    ).detectMarkers(cv2.cvtColor(render(scene).rgb, cv2.COLOR_RGB2GRAY))
    assert sorted(ids.ravel().tolist()) == [0, 1, 2, 3]
    markers = LAYOUT.markers
    outward = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    for corners, number in zip(found, ids.ravel(), strict=True):
        middle = LAYOUT.outline_mm[number] + outward[number] * markers.offset_mm
        places = np.column_stack([middle + outward * markers.side_mm / 2, np.zeros(4)])
        # 1 px: the detector reads corners of a raster picture to a few tenths.
        assert np.abs(corners[0] - scene.camera.project(places)).max() < 1.0


def _fine_corners() -> cv2.aruco.DetectorParameters:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    return parameters


def test_pixels_carry_the_number_of_their_cell():
    scene = scene_of(*(_disc(cell) for cell in (1, 2, 3, 5, 6)))
    plant = render(scene).plant
    assert [int(plant[_centre_px(scene, cell)]) for cell in range(1, 7)] == [1, 2, 3, 0, 5, 6]


def test_pixels_of_a_mat_carry_the_number_of_the_tile_below():
    mat = LAYOUT.model_copy(update={"kind": "mat"})
    x, y = LAYOUT.centres_mm()[:2].mean(axis=0)
    leaf = ellipse_leaf(plant=1, x_mm=x - 20, y_mm=y, length_mm=40, width_mm=40)
    scene = scene_of(plant_of(1, leaf), layout=mat)
    plant = render(scene).plant
    places = scene.camera.project(np.array([[x - 10, y, 0.0], [x + 10, y, 0.0]])).round().astype(int)
    assert [int(plant[row, column]) for column, row in places] == [1, 2]


def test_a_dead_plant_is_drawn_and_is_no_canopy():
    dead, none = render(scene_of(_disc(2, alive=False))), render(scene_of())
    assert dead.canopy.max() == 0
    assert dead.plant.max() == 0
    assert (dead.rgb != none.rgb).any()


def test_the_higher_leaf_is_seen():
    low, high = _disc(2, radius_mm=25.0), _disc(3, z_mm=30.0, radius_mm=25.0)
    x, y = LAYOUT.centres_mm()[1]
    over = replace(high, leaves=tuple(move_leaf(leaf, -60.0, 0.0) for leaf in high.leaves))
    over = replace(over, leaves=tuple(replace(leaf, plant=3) for leaf in over.leaves))
    scene = scene_of(low, over)
    assert int(render(scene).plant[_centre_px(scene, 2)]) == 3
    assert over.leaves[0].x_mm == pytest.approx(x - 25.0, abs=1e-9)  # moved exactly one pitch
    assert over.leaves[0].y_mm == pytest.approx(y, abs=1e-9)


def test_canopy_of_neighbouring_trays_belongs_to_no_cell():
    other = Neighbour(0.0, 150.0, (_disc(2),))
    picture = render(scene_of(camera=camera_over(fill=0.35), neighbours=(other,)))
    assert picture.canopy.max() == 255
    assert picture.plant.max() == 0


def test_a_leaf_casts_its_shadow_away_from_the_light():
    light = replace(scene_of().light, direct=0.8, azimuth_deg=0.0, elevation_deg=45.0, penumbra=0.1)
    lit, bare = (
        render(scene_of(*plants, ground="paper_sheet", tray_style="", markers=False, light=light))
        for plants in ((_disc(2, z_mm=40.0),), ())
    )
    scene = scene_of()
    x, y = LAYOUT.centres_mm()[1]
    # Light from +x at 45°: the middle of the shadow lies 40 mm towards -x on the ground, clear of the leaf (15 mm).
    places = scene.camera.project(np.array([[x - 40, y, 0.0], [x + 45, y, 0.0]])).round().astype(int)
    dark, clear = (lit.rgb[row, column].mean() / bare.rgb[row, column].mean() for column, row in places)
    assert dark < 0.8 * clear


def test_what_lies_above_hides_the_canopy():
    plants = [_disc(cell, radius_mm=24.0) for cell in range(1, 7)]
    free, covered = render(scene_of(*plants)), render(scene_of(*plants, over=("gloved_hand",)))
    hidden = (free.plant > 0) & (covered.plant == 0)
    assert hidden.any()
    assert (covered.canopy[hidden] == 0).all()
    assert ((covered.plant == free.plant) | hidden).all()
