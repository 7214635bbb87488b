"""Whose leaf, from exact canopy and votes that are exact or noisy in a known way."""

import cv2
import numpy as np
import pytest

from canopy.records import Height
from canopy.segment.owners import spread_owners
from canopy.segment.split import split_plants
from canopy.settings.segment import SegmentSettings

from .drawn import FLAT, blank, draw_disc, draw_leaf, draw_rosettes, layout

MM = 0.5
SETTINGS = SegmentSettings()


def ways_to(goals_mm, truth, picture):
    """Exact votes: from every pixel to the goal of its plant, in pixels; zeros on bare ground."""
    rows, cols = np.indices(truth.shape)
    ways = np.zeros((*truth.shape, 2), np.float32)
    for number, goal in goals_mm.items():
        x, y = picture.to_px(np.asarray(goal, float))
        ways[truth == number] = np.stack([x - cols, y - rows], axis=-1)[truth == number]
    return ways


def middles(tray):
    return dict(enumerate(tray.centres_mm(), start=1))


def split(truth, picture, tray, *, goals=None, noise_mm=0.0, height=FLAT):
    """The split of exact canopy; votes go to the middles of the plants' cells unless told otherwise."""
    cover = (truth != 0).astype(np.float32)
    ways = ways_to(middles(tray) | (goals or {}), truth, picture)
    if noise_mm:
        # Leaf by leaf, not pixel by pixel: noise that smoothing cannot take out, bumps of 8 mm.
        rng = np.random.default_rng(5)
        coarse = rng.normal(0, noise_mm / picture.mm_per_px, (*(n // 16 + 2 for n in truth.shape), 2))
        ways += cv2.resize(coarse.astype(np.float32), truth.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return split_plants(cover, ways, rectified=picture, layout=tray, height=height, settings=SETTINGS)


def attributed(truth, picture, tray, **options):
    """Owner on the full grid."""
    return spread_owners(split(truth, picture, tray, **options).owner, (truth != 0).astype(np.float32))


def right_share(owner, truth):
    plant = truth > 0
    return float((owner[plant] == truth[plant]).mean())


@pytest.mark.parametrize(("noise_mm", "share"), [(0.0, 0.98), (8.0, 0.96)])
def test_leaves_go_to_the_plant_they_vote_for_wherever_they_lie(noise_mm, share):
    # Plants twice as wide as their cells, leaf over leaf: nothing but the votes tells whose they are. A vote is wrong
    # when it misses by half a pitch, 21 mm, in x or y: at a standard deviation of 8 mm about 1.7 %, two-sided normal.
    # Leaf borders some 15 mm apart, each right to half a pixel of the 1 mm grid on either side, cost another 2 %.
    shares = []
    for seed in range(3):
        rng = np.random.default_rng(seed)
        tray = layout(5, 8, pitch=42.0)
        picture = blank(tray, mm_per_px=MM)
        radii = 42 * np.exp(rng.normal(0, 0.1, tray.cells))
        radii[rng.random(tray.cells) < 0.08] = 0
        truth = draw_rosettes(tray, picture, radii_mm=radii, rng=rng)
        owner = attributed(truth, picture, tray, noise_mm=noise_mm)
        shares.append(right_share(owner, truth))
        found = np.unique(owner[owner > 0])
        np.testing.assert_array_equal(found, np.flatnonzero(radii > 0) + 1)  # empty cells stay empty
    assert min(shares) > share


def test_doubt_is_the_chance_of_the_second_nearest_middle():
    tray = layout(1, 2, pitch=40.0)
    picture = blank(tray, mm_per_px=MM)
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    (left, right) = tray.centres_mm()
    draw_disc(truth, picture, 1, centre_mm=left, radius_mm=26.0)
    draw_disc(truth, picture, 2, centre_mm=right, radius_mm=20.0)
    # All of plant 1 votes 10 mm off towards plant 2: 10 against 30 mm.
    found = split(truth, picture, tray, goals={1: left + np.array([10.0, 0.0])})
    spread = SETTINGS.vote_sd * 40
    expected = 1 / (1 + np.exp((30**2 - 10**2) / (2 * spread**2)))
    inner = found.doubt[found.owner == 1]
    assert np.median(inner) == pytest.approx(expected, rel=1e-3)  # float32


def test_a_plant_alone_is_beyond_doubt_and_whole_wherever_it_votes():
    tray = layout(1, 3, pitch=40.0)
    picture = blank(tray, mm_per_px=MM)
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    draw_disc(truth, picture, 2, centre_mm=tray.centres_mm()[1] + np.array([14.0, 0.0]), radius_mm=12)
    found = split(truth, picture, tray, goals={2: tray.centres_mm()[1] + np.array([14.0, 0.0])}, noise_mm=6.0)
    assert not found.doubt.any()
    assert set(np.unique(found.owner)) == {-1, 2}


def test_a_plant_leaning_over_its_cell_and_the_rim_stays_whole():
    tray = layout(2, 3, pitch=40.0)
    picture = blank(tray, mm_per_px=MM)
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    draw_disc(truth, picture, 1, centre_mm=(12.0, 30.0), radius_mm=20)  # reaches 8 mm beyond the outline
    draw_disc(truth, picture, 6, centre_mm=(110.0, 70.0), radius_mm=10)
    draw_leaf(truth, picture, 6, root=(110.0, 70.0), angle_deg=180.0, length_mm=32)  # far into empty cell 5
    np.testing.assert_array_equal(attributed(truth, picture, tray), truth)


def test_overhang_into_an_empty_cell_does_not_plant_it():
    tray = layout(1, 3, pitch=40.0)
    picture = blank(tray, mm_per_px=MM)
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    for number, x_mm in ((1, 30.0), (3, 110.0)):
        draw_disc(truth, picture, number, centre_mm=(x_mm, 30.0), radius_mm=27)  # 7 mm over either line
    np.testing.assert_array_equal(attributed(truth, picture, tray), truth)


def test_mistaken_votes_do_not_plant_a_cell_without_canopy_at_its_middle():
    tray = layout(1, 3, pitch=40.0)
    picture = blank(tray, mm_per_px=MM)
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    draw_disc(truth, picture, 1, centre_mm=(30.0, 30.0), radius_mm=24)  # to 54 mm; the second middle is at 70 mm
    middle = tray.centres_mm()
    mistaken = truth.copy()
    draw_leaf(mistaken, picture, 9, root=(40.0, 30.0), angle_deg=0.0, length_mm=14)  # says it is the second's
    owner = attributed(np.where(truth > 0, mistaken, 0), picture, tray, goals={9: middle[1]})
    np.testing.assert_array_equal(owner, truth)


def test_a_loose_leaf_goes_to_the_plant_it_votes_for():
    tray = layout(1, 3, pitch=40.0)
    picture = blank(tray, mm_per_px=MM)
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    draw_disc(truth, picture, 1, centre_mm=(30.0, 30.0), radius_mm=10)
    draw_disc(truth, picture, 2, centre_mm=(70.0, 30.0), radius_mm=10)
    draw_disc(truth, picture, 1, centre_mm=(52.0, 30.0), radius_mm=5)  # its stalk unseen, over the line to the second
    np.testing.assert_array_equal(attributed(truth, picture, tray), truth)


def test_a_neighbour_trays_plants_are_nobodys():
    tray = layout(2, 3, pitch=40.0, rim=10.0)
    picture = blank(tray, mm_per_px=MM, margin_mm=45.0)
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    draw_disc(truth, picture, -1, centre_mm=(-20.0, 30.0), radius_mm=12)
    draw_disc(truth, picture, 4, centre_mm=(30.0, 70.0), radius_mm=16)
    # Asked for a cell, a plant outside may name the nearest one of ours.
    owner = attributed(truth, picture, tray, goals={-1: tray.centres_mm()[0]})
    assert set(np.unique(owner)) == {0, 4}
    np.testing.assert_array_equal(owner == 4, truth == 4)


def test_a_stray_piece_between_empty_cells_is_nobodys():
    tray = layout(1, 3, pitch=40.0)
    picture = blank(tray, mm_per_px=MM)
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    draw_disc(truth, picture, -1, centre_mm=(47.0, 13.0), radius_mm=2)  # at the corner of cell 1, 24 mm off its centre
    draw_disc(truth, picture, 3, centre_mm=(110.0, 30.0), radius_mm=10)
    owner = attributed(truth, picture, tray, goals={-1: tray.centres_mm()[0]})
    np.testing.assert_array_equal(owner, np.maximum(truth, 0))


def test_mats_are_cut_into_tiles():
    tray = layout(2, 3, pitch=40.0, kind="mat")
    picture = blank(tray, mm_per_px=MM, margin_mm=10.0)
    owner = attributed(np.ones(picture.rgb.shape[:2], np.int32), picture, tray)
    columns, rows = picture.to_px(tray.centres_mm() + 18).T.round().astype(int)
    np.testing.assert_array_equal(owner[rows, columns], np.arange(1, 7))
    counts = np.bincount(owner.ravel(), minlength=7)[1:] * MM**2
    np.testing.assert_allclose(counts, 1600, rtol=0.04)  # a line may fall a pixel of the 1 mm grid to either side


def test_shoots_of_a_tall_mat_count_to_the_tile_below_them():
    # 120 mm high under a lens at 600 mm: 220 mm from the nadir half their height looks 220 · 60/540 = 24 mm further
    # out, more than a tile of 20 mm.
    tray = layout(1, 11, pitch=20.0, kind="mat")
    picture = blank(tray, mm_per_px=MM, margin_mm=40.0)
    height = Height(120.0, "typed", 600.0, "typed", (20.0, 20.0))
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    for number, centre in enumerate(tray.centres_mm(), start=1):
        seen = np.array(height.nadir_mm) + (centre - height.nadir_mm) * 600 / 540
        draw_disc(truth, picture, number, centre_mm=seen, radius_mm=9)
    np.testing.assert_array_equal(attributed(truth, picture, tray, height=height), truth)
    assert right_share(attributed(truth, picture, tray), truth) < 0.9


def test_bare_tray_has_no_owner():
    tray = layout(2, 3)
    picture = blank(tray, mm_per_px=MM)
    assert not attributed(np.zeros(picture.rgb.shape[:2], np.int32), picture, tray).any()


def test_the_split_is_the_same_at_any_scale_of_the_probability():
    tray = layout(3, 4, pitch=42.0)
    picture = blank(tray, mm_per_px=0.25)
    rng = np.random.default_rng(4)
    truth = draw_rosettes(tray, picture, radii_mm=[23.0] * 12, rng=rng)
    ways = ways_to(middles(tray), truth, picture)
    options = {"rectified": picture, "layout": tray, "height": FLAT, "settings": SETTINGS}
    owners = []
    for scale in (1.0, 0.5, 0.25):
        canopy = cv2.resize((truth > 0).astype(np.float32), None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        owners.append(split_plants(canopy, ways * np.float32(scale), **options).owner)
    for other in owners[1:]:
        assert (owners[0] == other).mean() > 0.99
