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


def attributed(truth, picture, tray, *, height=FLAT):
    """Owner on the full grid, from exact canopy."""
    cover = (truth != 0).astype(np.float32)
    places = split_plants(cover, rectified=picture, layout=tray, height=height, settings=SETTINGS)
    return spread_owners(places, cover)


def right_share(owner, truth):
    plant = truth > 0
    return float((owner[plant] == truth[plant]).mean())


def test_overlapping_discs_are_parted_where_they_cross():
    tray = layout(1, 2, pitch=40.0)
    picture = blank(tray, mm_per_px=MM)
    (left, right), radii = tray.centres_mm(), (26.0, 20.0)
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    draw_disc(truth, picture, 1, centre_mm=left, radius_mm=radii[0])
    draw_disc(truth, picture, 2, centre_mm=right, radius_mm=radii[1])
    # The chord through both crossings lies at (d² + r₁² − r₂²)/2d from the first centre (geometry).
    chord_mm = left[0] + (40**2 + radii[0] ** 2 - radii[1] ** 2) / (2 * 40)
    x_mm = picture.x0_mm + np.arange(truth.shape[1]) * MM
    truth = np.where(truth > 0, np.where(x_mm < chord_mm, 1, 2), 0)
    owner = attributed(truth, picture, tray)
    # The line may wander by a pixel or two of the 1 mm grid along a chord of 32 mm: 60 of 3100 mm².
    assert right_share(owner, truth) > 0.98


@pytest.mark.parametrize(
    ("relative_radius", "spread", "share"), [(0.8, 0.2, 0.995), (1.1, 0.15, 0.98), (1.2, 0.15, 0.97)]
)
def test_rosettes_that_overlap_moderately_are_told_apart(relative_radius, spread, share):
    shares = []
    for seed in range(3):
        rng = np.random.default_rng(seed)
        tray = layout(5, 8, pitch=42.0)
        picture = blank(tray, mm_per_px=MM)
        radii = 21 * relative_radius * np.exp(rng.normal(0, spread, tray.cells))
        radii[rng.random(tray.cells) < 0.08] = 0
        truth = draw_rosettes(tray, picture, radii_mm=radii, rng=rng)
        owner = attributed(truth, picture, tray)
        shares.append(right_share(owner, truth))
        found = np.unique(owner[owner > 0])
        np.testing.assert_array_equal(found, np.flatnonzero(radii > 0) + 1)  # empty cells stay empty
    assert min(shares) > share


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
        draw_disc(truth, picture, number, centre_mm=(x_mm, 30.0), radius_mm=23)  # 3 mm over either line
    owner = attributed(truth, picture, tray)
    np.testing.assert_array_equal(owner, truth)


def test_a_neighbour_trays_plants_are_nobodys_apart_or_touching():
    tray = layout(2, 3, pitch=40.0, rim=10.0)
    picture = blank(tray, mm_per_px=MM, margin_mm=45.0)
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    draw_disc(truth, picture, -1, centre_mm=(-20.0, 30.0), radius_mm=12)
    draw_disc(truth, picture, -1, centre_mm=(-25.0, 70.0), radius_mm=30)  # touches ours: 56 mm on 55
    draw_disc(truth, picture, 4, centre_mm=(30.0, 70.0), radius_mm=26)
    owner = attributed(truth, picture, tray)
    assert set(np.unique(owner)) == {0, 4}
    ours = truth == 4  # drawn over the other: the crossing line halves a lens of 10 mm², 0.5 % of a plant
    assert (owner[ours] == 4).mean() > 0.98
    assert (owner[truth == -1] == 0).mean() > 0.98


def test_a_stray_piece_between_empty_cells_is_nobodys_but_a_loose_leaf_of_a_plant_is_its_own():
    tray = layout(1, 3, pitch=40.0)
    picture = blank(tray, mm_per_px=MM)
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    draw_disc(truth, picture, -1, centre_mm=(47.0, 13.0), radius_mm=2)  # at the corner of cell 1, 24 mm off its centre
    draw_disc(truth, picture, 3, centre_mm=(110.0, 30.0), radius_mm=10)
    draw_disc(truth, picture, 3, centre_mm=(127.0, 13.0), radius_mm=2)
    np.testing.assert_array_equal(attributed(truth, picture, tray), np.maximum(truth, 0))


def test_tall_plants_are_sought_where_the_lens_shows_them():
    # Cells of 20 mm, plants 120 mm high under a lens at 600 mm: 200 mm from the nadir their middle looks
    # 200 · 60/540 = 22 mm further out, one cell too far for anyone who does not know the height.
    tray = layout(1, 11, pitch=20.0)
    picture = blank(tray, mm_per_px=MM, margin_mm=40.0)
    height = Height(120.0, "typed", 600.0, "typed", (20.0, 20.0))
    truth = np.zeros(picture.rgb.shape[:2], np.int32)
    for number, centre in enumerate(tray.centres_mm(), start=1):
        seen = np.array(height.nadir_mm) + (centre - height.nadir_mm) * 600 / 540
        draw_disc(truth, picture, number, centre_mm=seen, radius_mm=9)
    np.testing.assert_array_equal(attributed(truth, picture, tray, height=height), truth)
    assert right_share(attributed(truth, picture, tray), truth) < 0.9


def test_mats_are_cut_into_tiles():
    tray = layout(2, 3, pitch=40.0, kind="mat")
    picture = blank(tray, mm_per_px=MM, margin_mm=10.0)
    owner = attributed(np.ones(picture.rgb.shape[:2], np.int32), picture, tray)
    columns, rows = picture.to_px(tray.centres_mm() + 18).T.round().astype(int)
    np.testing.assert_array_equal(owner[rows, columns], np.arange(1, 7))
    counts = np.bincount(owner.ravel(), minlength=7)[1:] * MM**2
    np.testing.assert_allclose(counts, 1600, rtol=0.04)  # a line may fall a pixel of the 1 mm grid to either side


def test_bare_tray_has_no_owner():
    tray = layout(2, 3)
    picture = blank(tray, mm_per_px=MM)
    assert not attributed(np.zeros(picture.rgb.shape[:2], np.int32), picture, tray).any()


def test_the_split_is_the_same_at_any_scale_of_the_probability():
    tray = layout(3, 4, pitch=42.0)
    picture = blank(tray, mm_per_px=0.25)
    rng = np.random.default_rng(4)
    truth = draw_rosettes(tray, picture, radii_mm=[23.0] * 12, rng=rng)
    owners = []
    for scale in (1.0, 0.5, 0.25):
        canopy = cv2.resize((truth > 0).astype(np.float32), None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        owners.append(split_plants(canopy, rectified=picture, layout=tray, height=FLAT, settings=SETTINGS))
    for other in owners[1:]:
        assert (owners[0] == other).mean() > 0.99
