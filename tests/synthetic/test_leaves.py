"""Leaves as height fields: exact area, unbiased coverage, normals, damage codes.

Expected values come from geometry (ellipse, polygon, strip) or from the definitions in the docstrings.
"""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from canopy.synthetic.cultivars import CULTIVARS
from canopy.synthetic.damage import BROWN, DEAD, YELLOW, LeafDamage
from canopy.synthetic.leaf_outline import STEPS, footprint, make_outline, outline_points
from canopy.synthetic.leaves import Leaf, Relief, leaf_bounds_mm, leaf_height_mm, make_leaf, paint_leaf
from canopy.synthetic.plants import Stress, grow_plant

FLAT = Relief(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def leaves_of(name: str, das: float, *, seed: int = 7, stress: Stress | None = None) -> list[Leaf]:
    plant = grow_plant(
        CULTIVARS[name], index=4, x_mm=31.0, y_mm=-12.0, base_z_mm=-6.0, das=das, vigour=1.0, seed=seed,
        stress=stress or Stress(),
    )  # fmt: skip
    return list(plant.leaves)


def raster(leaf: Leaf, px: float, *, phase: float = 0.0, pad: float = 0.0):
    x0, y0, _, x1, y1, _ = leaf_bounds_mm(leaf)
    x = np.arange(x0 - pad - 2 * px + phase * px, x1 + pad + 3 * px, px, dtype=np.float32)
    y = np.arange(y0 - pad - 2 * px + phase * px / 2, y1 + pad + 3 * px, px, dtype=np.float32)
    return np.meshgrid(x, y)


def ellipse_leaf(*, sweep: float = 0.0, bend: float = 0.0):
    s = np.linspace(-1.0, 1.0, STEPS + 1)
    half = 9.0 * np.sqrt(np.clip(1.0 - s * s, 0.0, None))
    return make_outline(half, half, length_mm=40.0, sweep=sweep, bend=bend)


def shoelace_mm2(outline) -> float:
    """Area of the drawn outline as a polygon: right margin out, left margin back (textbook formula)."""
    u, v = outline_points(outline, every=1)
    n = STEPS + 1
    u = np.concatenate([u[:n], u[n : 2 * n][::-1]]).astype(float)
    v = np.concatenate([v[:n], v[n : 2 * n][::-1]]).astype(float)
    return 0.5 * abs(float(np.sum(u * np.roll(v, -1) - v * np.roll(u, -1))))


def test_ellipse_has_the_textbook_area():
    # pi * 20 * 9; 240 trapezoids under a square-root end lose 0.03 %
    assert ellipse_leaf().area_mm2 == pytest.approx(math.pi * 20 * 9, rel=5e-4)


@pytest.mark.parametrize(("sweep", "bend"), [(0.0, 0.0), (0.4, 0.0), (-0.3, 0.0), (0.0, 0.3), (0.35, -0.2)])
def test_area_is_that_of_the_drawn_polygon(sweep, bend):
    outline = ellipse_leaf(sweep=sweep, bend=bend)
    # chords instead of curves between 241 stations: below 0.1 %
    assert outline.area_mm2 == pytest.approx(shoelace_mm2(outline), rel=1e-3)


def test_sweep_does_not_change_area():
    assert ellipse_leaf(sweep=0.5).area_mm2 == ellipse_leaf().area_mm2  # a shear, the same sum


@pytest.mark.parametrize("px", [0.1, 0.3, 0.6, 1.0])
def test_coverage_sums_to_the_area_at_every_scale(px):
    errors = []
    for name in ("butterhead", "oak_leaf", "rocket", "pak_choi", "cress", "brassica_shoots", "thale_rosette", "kale"):
        for leaf in leaves_of(name, 17.0):
            width = 2 * leaf.outline.widest_mm
            if width < 6 * px or leaf.outline.length_mm * width > 3e5 * px**2:
                continue
            sums = [
                float(paint_leaf(leaf, *raster(leaf, px, phase=phase), px_mm=px).coverage.sum(dtype=float))
                for phase in (0.0, 0.37, 0.71)
            ]
            errors.append(np.mean(sums) * px**2 / leaf.area_mm2 - 1)
    assert len(errors) > 20
    assert np.abs(errors).max() < 0.01  # what area truth may err by on one leaf
    assert abs(np.mean(errors)) < 0.0015  # no bias with scale: a tenth of the smallest error that matters to a grower


@pytest.mark.parametrize("width_px", [0.2, 0.5, 1.3, 3.0])
def test_a_stalk_thinner_than_a_pixel_keeps_its_area(width_px):
    half = np.full(STEPS + 1, width_px / 2)
    strip = make_outline(half, half, length_mm=60.0, sweep=0.0, bend=0.0)
    u, v = np.meshgrid(np.arange(20, 40, dtype=np.float32), np.arange(-4, 5, dtype=np.float32) + np.float32(0.23))
    covered = footprint(strip, u, v, px_mm=1.0).coverage.sum(axis=0)
    np.testing.assert_allclose(covered, width_px, atol=1e-4)  # exact away from the ends but for float32


def test_inside_distance_is_millimetres():
    half = np.full(STEPS + 1, 5.0)
    strip = make_outline(half, half, length_mm=60.0, sweep=0.0, bend=0.0)
    v = np.array([0.0, 3.0, 5.0, 6.5], np.float32)
    got = footprint(strip, np.full(4, 30.0, np.float32), v, px_mm=0.5).inside_mm
    np.testing.assert_allclose(got, [5.0, 2.0, 0.0, -1.5], atol=1e-5)  # straight margins: first order is exact


def test_nothing_is_covered_away_from_the_leaf():
    for leaf in leaves_of("rocket", 16.0):
        x, y = raster(leaf, 0.8, pad=60.0)
        paint = paint_leaf(leaf, x, y, px_mm=0.8)
        x0, y0, _, x1, y1, _ = leaf_bounds_mm(leaf)
        outside = (x < x0 - 0.8) | (x > x1 + 0.8) | (y < y0 - 0.8) | (y > y1 + 0.8)
        assert paint.coverage.max() > 0.9 or leaf.outline.widest_mm < 0.8
        assert paint.coverage[outside].max() == 0.0


@pytest.mark.parametrize("name", sorted(CULTIVARS))
def test_paint_keeps_its_promises(name):
    for leaf in leaves_of(name, 15.0)[:6]:
        x, y = raster(leaf, 0.5)
        before = x.copy(), y.copy()
        paint = paint_leaf(leaf, x, y, px_mm=0.5)
        np.testing.assert_array_equal(x, before[0])
        np.testing.assert_array_equal(y, before[1])
        assert paint.coverage.shape == paint.gloss.shape == paint.damage.shape == x.shape
        assert paint.albedo.shape == paint.normal.shape == (*x.shape, 3)
        assert paint.damage.dtype == np.uint8
        for values in (paint.coverage, paint.albedo, paint.gloss, paint.normal):
            assert values.dtype == np.float32
            assert np.isfinite(values).all()
        for values in (paint.coverage, paint.albedo, paint.gloss):
            assert 0.0 <= values.min() <= values.max() <= 1.0
        np.testing.assert_allclose(np.linalg.norm(paint.normal, axis=-1), 1.0, atol=1e-5)  # float32
        assert paint.normal[..., 2].min() > 0.0
        assert (paint.albedo[paint.coverage == 0.0] == 0.0).all()


def test_points_may_come_as_one_row_or_empty():
    leaf = max(leaves_of("butterhead", 15.0), key=lambda leaf: leaf.area_mm2)
    x, y = raster(leaf, 0.5)
    whole = paint_leaf(leaf, x, y, px_mm=0.5)
    row = paint_leaf(leaf, x[7], y[7], px_mm=0.5)
    np.testing.assert_array_equal(row.albedo, whole.albedo[7])
    none = paint_leaf(leaf, x[:0], y[:0], px_mm=0.5)
    assert none.coverage.size == none.albedo.size == 0


def test_normal_is_perpendicular_to_the_height_field():
    leaf = max(leaves_of("green_leaf", 20.0), key=lambda leaf: leaf.area_mm2)
    smooth = replace(leaf, look=replace(leaf.look, veins=0.0, blister=0.0, midrib_mm=1e-6, midrib_fade=1.0))
    x, y = raster(smooth, 1.0)
    step = 0.05
    paint = paint_leaf(smooth, x, y, px_mm=1.0)
    across = (leaf_height_mm(smooth, x + step, y) - leaf_height_mm(smooth, x - step, y)) / (2 * step)
    along = (leaf_height_mm(smooth, x, y + step) - leaf_height_mm(smooth, x, y - step)) / (2 * step)
    inside = paint.coverage == 1.0
    steepness = 1.0 / np.sqrt(1.0 + across**2 + along**2)
    expected = np.stack([-across, -along, np.ones_like(across)], axis=-1) * steepness[..., None]
    assert inside.sum() > 500
    # central differences over 0.1 mm of float32 heights near 30 mm: 4e-6/0.1 rounding, and the clip at τ = 1.3 is
    # never inside
    np.testing.assert_allclose(paint.normal[inside], expected[inside], atol=2e-3)


@pytest.mark.parametrize("wilting", [0.0, 1.0])
@pytest.mark.parametrize("name", sorted(CULTIVARS))
def test_height_is_gentle_enough_for_ray_iteration(name, wilting):
    for leaf in leaves_of(name, 22.0, stress=Stress(wilting=wilting)):
        x0, y0, _, x1, y1, _ = leaf_bounds_mm(leaf)
        x, y = np.meshgrid(
            np.linspace(x0 - 3, x1 + 3, 50, dtype=np.float32), np.linspace(y0 - 3, y1 + 3, 50, dtype=np.float32)
        )
        step = max(1e-3 * (x1 - x0), 0.02)
        dx = (leaf_height_mm(leaf, x + step, y) - leaf_height_mm(leaf, x - step, y)) / (2 * step)
        dy = (leaf_height_mm(leaf, x, y + step) - leaf_height_mm(leaf, x, y - step)) / (2 * step)
        # fixed-point iteration on z converges while slope times the ray's tangent stays below 1: 30 degrees off the
        # vertical at 1.7
        assert float(np.hypot(dx, dy).max()) < 1.7


@pytest.mark.parametrize("name", ["cos", "barley", "rocket", "brassica_shoots"])
def test_bounds_hold_the_leaf(name):
    for leaf in leaves_of(name, 20.0):
        x, y = raster(leaf, 0.4, pad=10.0)
        paint = paint_leaf(leaf, x, y, px_mm=0.4)
        inside = paint.coverage >= 0.5
        x0, y0, z0, x1, y1, z1 = leaf_bounds_mm(leaf)
        assert leaf.top_mm == z1
        if not inside.any():
            continue
        assert x[inside].min() >= x0 - 0.2
        assert x[inside].max() <= x1 + 0.2
        assert y[inside].min() >= y0 - 0.2
        assert y[inside].max() <= y1 + 0.2
        z = leaf_height_mm(leaf, x[inside], y[inside])
        assert z.max() <= z1 + 0.02 * leaf.outline.length_mm  # bounds are taken at the margin and the axis only
        assert z.min() >= z0 - 0.02 * leaf.outline.length_mm


def hurt(damage: LeafDamage, name: str = "butterhead"):
    leaf = max(leaves_of(name, 18.0), key=lambda leaf: leaf.area_mm2)
    leaf = replace(leaf, damage=damage)
    return leaf, paint_leaf(leaf, *raster(leaf, 0.3), px_mm=0.3)


def test_dead_leaf_is_dead_all_over_and_not_green():
    _, paint = hurt(LeafDamage(dead=True))
    inside = paint.coverage > 0.0
    assert (paint.damage[inside] == DEAD).all()
    assert (paint.albedo[inside][:, 0] > paint.albedo[inside][:, 1]).mean() > 0.99  # redder than green


def test_chlorosis_yellows_more_the_stronger_it_is():
    shares = []
    for strength in (0.0, 0.3, 0.6, 1.0):
        _, paint = hurt(LeafDamage(chlorosis=strength))
        inside = paint.coverage > 0.5
        shares.append(float((paint.damage[inside] == YELLOW).mean()))
    assert shares[0] == 0.0
    assert shares == sorted(shares)
    assert shares[-1] > 0.95


def test_tip_burn_stays_near_the_margin():
    leaf, paint = hurt(LeafDamage(tip_burn=1.0))
    x, y = raster(leaf, 0.3)
    plain = paint_leaf(replace(leaf, damage=LeafDamage()), x, y, px_mm=0.3)
    brown = paint.damage == BROWN
    assert 0.02 < brown[paint.coverage > 0.5].mean() < 0.6
    shrunk = np.asarray(paint.coverage > 0.5, np.uint8)
    distance = cv2.distanceTransform(shrunk, cv2.DIST_L2, 5) * 0.3
    # at most a third of the half-width times the largest noise factor 1.6, and half a soft border
    assert distance[brown].max() < 0.33 * 1.6 * leaf.outline.widest_mm * 1.25
    np.testing.assert_array_equal(paint.coverage, plain.coverage)


def test_leaf_moves_as_a_whole():
    leaf = leaves_of("basil", 20.0)[-1]
    moved = replace(leaf, x_mm=leaf.x_mm + 8.0, y_mm=leaf.y_mm - 16.0)
    x, y = raster(leaf, 0.5)
    np.testing.assert_allclose(
        paint_leaf(moved, x + 8.0, y - 16.0, px_mm=0.5).coverage,
        paint_leaf(leaf, x, y, px_mm=0.5).coverage,
        atol=2e-3,  # float32 coordinates near 50 mm are known to 4e-6 mm, seen through an edge 0.1 mm wide
    )


def test_flat_leaf_lies_at_its_base_height():
    leaf = leaves_of("spinach", 20.0)[-1]
    flat = make_leaf(
        plant=1, part="leaf", base_mm=(0.0, 0.0, 3.5), azimuth_rad=0.4, outline=leaf.outline, relief=FLAT,
        look=leaf.look, damage=LeafDamage(),
    )  # fmt: skip
    assert flat.top_mm == 3.5
    x, y = raster(flat, 1.0)
    np.testing.assert_array_equal(leaf_height_mm(flat, x, y), np.float32(3.5))
