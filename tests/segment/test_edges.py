"""Areas of discs drawn exactly (supersampled), with the network's outline blurred or moved: no bias may remain."""

import cv2
import numpy as np
import pytest

from canopy.segment.edges import refine_edges
from canopy.segment.feed import make_feed
from canopy.settings.segment import SegmentSettings
from canopy.tray.rectify import Rectified

MM = 0.25
SETTINGS = SegmentSettings(feed_min_megapixels=0.01, light_exponent=2.2)  # discs are drawn as a lens mixes: in light
LEAF = np.array([90.0, 150.0, 60.0])
GROUNDS = {"black": (30, 28, 25), "white": (225, 225, 220), "brown": (110, 90, 70)}
SUPERSAMPLING = 8


def discs(diameter_px, *, rng, shape=(420, 520)):
    """Exact cover of a lattice of discs at random sub-pixel places."""
    cover = np.zeros(shape, np.float32)
    step = max(30, 2 * diameter_px)
    fine = (np.arange(step * SUPERSAMPLING) + 0.5) / SUPERSAMPLING - 0.5
    for top in range(0, shape[0] - step + 1, step):
        for left in range(0, shape[1] - step + 1, step):
            y, x = step / 2 + rng.uniform(-1, 1, 2)
            disc = ((fine[:, None] - y) ** 2 + (fine - x) ** 2 < diameter_px**2 / 4).astype(np.float32)
            cover[top : top + step, left : left + step] = cv2.resize(disc, (step, step), interpolation=cv2.INTER_AREA)
    return cover


def grown(cover, by_px):
    """The same discs with their outline moved outwards by so many pixels."""
    inside = cv2.distanceTransform((cover > 0.5).astype(np.uint8), cv2.DIST_L2, 5)
    outside = cv2.distanceTransform((cover <= 0.5).astype(np.uint8), cv2.DIST_L2, 5)
    depth = np.where(inside > 0, inside - 0.5, 0.5 - outside)
    return np.clip(depth + by_px + 0.5, 0, 1).astype(np.float32)


def refined(cover, *, ground, seen=None, blur_px=2.0, texture=0.0, lens_px=0.7, noise=2.0, shadow=None, seed=0):
    """Cover found again from a picture of `cover` and a network that saw `seen`, blurred."""
    rng = np.random.default_rng(seed)
    grain = texture * rng.normal(0, 1, (*cover.shape, 1))
    leaf, bare = (linear(np.maximum(c + g, 0)) for c, g in ((LEAF, 0.3 * grain), (np.asarray(ground, float), grain)))
    light = cover[..., None] * leaf + (1 - cover[..., None]) * bare * (1 if shadow is None else shadow[..., None])
    light = cv2.GaussianBlur(light, (0, 0), lens_px) if lens_px else light
    rgb = np.clip(np.rint(coded(light) + rng.normal(0, noise, light.shape)), 0, 255).astype(np.uint8)
    rectified = Rectified(rgb, np.ones(cover.shape, bool), MM, 0.0, 0.0)
    feed = make_feed(rectified, stage="seedling", settings=SETTINGS)
    probability = cv2.GaussianBlur(cover if seen is None else seen, (0, 0), blur_px)
    probability = cv2.resize(probability, feed.rgb.shape[1::-1], interpolation=cv2.INTER_AREA)
    return refine_edges(probability, feed=feed, rgb=rgb, settings=SETTINGS)


def linear(code):
    """sRGB code values to linear light, IEC 61966-2-1."""
    share = np.asarray(code) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def coded(light):
    """Linear light to sRGB code values, IEC 61966-2-1."""
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055)


def bias(found, cover):
    return float(found.sum() / cover.sum() - 1)


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize(("diameter_px", "most"), [(8, 0.03), (20, 0.005), (40, 0.005), (120, 0.005)])
def test_disc_areas_have_no_bias_on_contrasting_ground(ground, diameter_px, most):
    # 0.5 % of a 20-pixel disc is an edge 0.025 pixels off; the smallest have no pure middle to learn the leaf from.
    cover = discs(diameter_px, rng=np.random.default_rng(diameter_px))
    found, _ = refined(cover, ground=GROUNDS[ground])
    assert abs(bias(found, cover)) < most


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize(("diameter_px", "most"), [(20, 0.005), (40, 0.005), (120, 0.005)])
def test_disc_areas_have_no_bias_on_noisy_ground(ground, diameter_px, most):
    # Grain of 20 code values before the lens's blur: gravel or perlite in the sun.
    cover = discs(diameter_px, rng=np.random.default_rng(diameter_px))
    found, _ = refined(cover, ground=GROUNDS[ground], texture=20)
    assert abs(bias(found, cover)) < most


@pytest.mark.parametrize("ground", GROUNDS)
def test_shadows_beside_leaves_are_not_taken_for_leaf(ground):
    # A soft shadow that takes half the ground's light, thrown 6 pixels to one side.
    cover = discs(40, rng=np.random.default_rng(11))
    thrown = cv2.GaussianBlur(np.roll(cover, (3, 5), (0, 1)), (0, 0), 2)
    found, _ = refined(cover, ground=GROUNDS[ground], shadow=1 - 0.5 * thrown)
    # A shadow taken for half leaf would add some 10 %; on white, where it is darker than the leaf, a sixth is left.
    assert abs(bias(found, cover)) < 0.02


@pytest.mark.parametrize("moved_px", [-0.5, 1.5])
def test_a_network_outline_too_wide_or_a_little_too_narrow_is_put_right(moved_px):
    cover = discs(30, rng=np.random.default_rng(5))
    seen = grown(cover, moved_px)
    assert abs(bias(seen, cover)) > 0.05  # what is to be put right: about 4 · 0.5 / 30 or three times that
    found, _ = refined(cover, ground=GROUNDS["brown"], seen=seen, blur_px=1.0)
    assert abs(bias(found, cover)) < 0.005


def test_colours_make_no_leaf_where_the_network_is_sure_of_ground():
    cover = discs(30, rng=np.random.default_rng(5))
    seen = grown(cover, -3)
    found, _ = refined(cover, ground=GROUNDS["brown"], seen=seen, blur_px=0.5)
    # Leaf and ground differ by 3 pixels all around; colours take back one, where the network is in doubt.
    assert bias(seen, cover) < -0.3
    assert bias(seen, cover) + 0.02 < bias(found, cover) < -0.2


def test_pale_grains_beside_a_leaf_are_hardly_taken_for_leaf():
    cover = discs(30, rng=np.random.default_rng(5))
    beside = np.clip(grown(cover, 6) - grown(cover, 1), 0, 1)
    grains = cv2.resize(np.random.default_rng(1).random((105, 130)), cover.shape[::-1], interpolation=cv2.INTER_NEAREST)
    pale = np.where((beside * (grains > 0.75))[..., None] > 0.5, GROUNDS["white"], GROUNDS["black"])
    found, _ = refined(cover, ground=pale, blur_px=1.0)
    # A quarter of the black ground is white grains of 4 pixels: by colour alone 7 % more leaf. A blurred rim is left.
    assert abs(bias(found, cover)) < 0.03


def test_each_pixel_is_near_its_true_cover():
    cover = discs(40, rng=np.random.default_rng(7))
    found, _ = refined(cover, ground=GROUNDS["black"], lens_px=0, noise=0)
    assert found.dtype == np.float32
    # Code values are whole numbers (0.01 of the leaf at most); the mean light of leaf and ground is taken from the
    # small grid, whose purest pixels may still hold a few per cent of the other.
    assert np.abs(found - cover).max() < 0.06


def test_ground_of_the_leafs_own_colour_leaves_the_networks_outline():
    cover = discs(40, rng=np.random.default_rng(3))
    found, doubt = refined(cover, ground=LEAF, noise=1)
    # The network's blurred outline shrinks a disc of radius r by about σ²/2r = 0.1 px of 20: 1 % of its area.
    assert abs(bias(found, cover)) < 0.02
    clear, clear_doubt = refined(cover, ground=GROUNDS["black"], noise=1)
    assert doubt.sum() > 1.5 * clear_doubt.sum()
    assert abs(bias(clear, cover)) < 0.005


def test_far_from_edges_pixels_are_whole_or_bare_whatever_the_noise():
    cover = discs(120, rng=np.random.default_rng(3))
    found, doubt = refined(cover, ground=GROUNDS["brown"], texture=25)
    far = cv2.erode((cover == 1).astype(np.uint8), np.ones((21, 21))) > 0
    bare = cv2.erode((cover == 0).astype(np.uint8), np.ones((21, 21))) > 0
    assert (found[far] == 1).all()
    assert (found[bare] == 0).all()
    assert doubt[far | bare].max() < 0.05
    assert doubt.min() >= 0
    assert doubt.max() <= 0.5


def test_how_the_work_is_cut_up_changes_nothing(monkeypatch):
    cover = discs(60, rng=np.random.default_rng(2))
    whole = refined(cover, ground=GROUNDS["white"], texture=10)
    monkeypatch.setattr("canopy.segment.edges._LIST_ROWS", 1)
    monkeypatch.setattr("canopy.segment.mixture._STRIP_ROWS", 7)
    cut = refined(cover, ground=GROUNDS["white"], texture=10)
    for one, other in zip(whole, cut, strict=True):
        np.testing.assert_array_equal(one, other)


def test_odd_sides_leave_no_strip_along_the_border():
    # The coarser grid drops an odd last row and column; edges there are found as everywhere else.
    cover = discs(40, rng=np.random.default_rng(13), shape=(415, 519))[::-1, ::-1]
    found, _ = refined(np.ascontiguousarray(cover), ground=GROUNDS["black"])
    last = slice(-110, None)
    assert abs(bias(found[last], cover[last])) < 0.005
    assert abs(bias(found[:, last], cover[:, last])) < 0.005


def test_bare_and_full_pictures():
    for level in (0.0, 1.0):
        cover = np.full((90, 130), level, np.float32)
        found, doubt = refined(cover, ground=GROUNDS["black"])
        np.testing.assert_array_equal(found, cover)
        assert doubt.max() < 0.01
