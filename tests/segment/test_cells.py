"""The whole step on drawn trays; the weights are only asked for the clearest cases."""

import numpy as np
import pytest

from canopy.segment import segment_cells
from canopy.segment.cells import tray_reach
from canopy.segment.feed import make_feed
from canopy.settings.segment import SegmentSettings

from .drawn import FLAT, blank, draw_rosettes, layout, painted

MM = 0.4
SETTINGS = SegmentSettings()
EMPTY = 7


@pytest.fixture(scope="module")
def scene():
    tray = layout(3, 5, pitch=42.0)
    picture = blank(tray, mm_per_px=MM)
    rng = np.random.default_rng(1)
    radii = np.full(tray.cells, 14.0)
    radii[EMPTY - 1] = 0
    truth = draw_rosettes(tray, picture, radii_mm=radii, rng=rng)
    return tray, painted(picture, truth, rng=rng), truth


@pytest.fixture(scope="module")
def result(scene):
    tray, picture, _ = scene
    return segment_cells(picture, tray, stage="seedling", height=FLAT, settings=SETTINGS)


def test_shapes_types_and_ranges_are_as_promised(scene, result):
    tray, picture, _ = scene
    shape = picture.rgb.shape[:2]
    for image, dtype in ((result.cover, np.float32), (result.owner, np.uint16), (result.doubt, np.float32)):
        assert image.shape == shape
        assert image.dtype == dtype
    assert result.cover.min() >= 0
    assert result.cover.max() <= 1
    assert result.doubt.max() <= 0.5
    assert result.contact.shape == (tray.cells,)
    assert 0 <= result.agreement <= 1
    assert result.cover[result.owner > 0].min() > 0


def test_green_plants_are_found_in_their_cells_and_the_empty_cell_is_empty(scene, result):
    tray, _, truth = scene
    assert set(np.unique(result.owner)) - {0} == set(range(1, tray.cells + 1)) - {EMPTY}
    both = result.owner > 0
    assert (result.owner[both] == truth[both])[truth[both] > 0].mean() > 0.99
    assert np.isnan(result.contact[EMPTY - 1])


def test_both_opinions_agree_on_green_leaves(result):
    assert result.agreement > 0.7


def test_the_same_picture_gives_the_same_bytes(scene, result):
    tray, picture, _ = scene
    again = segment_cells(picture, tray, stage="seedling", height=FLAT, settings=SETTINGS)
    for name in ("cover", "owner", "doubt", "contact"):
        np.testing.assert_array_equal(getattr(again, name), getattr(result, name), err_msg=name)


def test_bare_tray_agrees_with_itself_on_nothing(scene):
    tray, _, _ = scene
    picture = blank(tray, mm_per_px=MM)
    result = segment_cells(picture, tray, stage="seedling", height=FLAT, settings=SETTINGS)
    assert not result.owner.any()
    assert np.isnan(result.contact).all()


def test_reach_is_the_outline_and_its_margin(scene):
    tray, picture, _ = scene
    feed = make_feed(picture, stage="seedling", settings=SETTINGS)
    reach = tray_reach(picture, tray, feed=feed, settings=SETTINGS)
    margin = SETTINGS.overhang_reach * 42
    expected_mm2 = (tray.outline_width_mm + 2 * margin) * (tray.outline_height_mm + 2 * margin)
    # Both sides are rounded to whole pixels of 0.5 mm in some 200 mm.
    assert reach.sum() * feed.mm_per_px**2 == pytest.approx(expected_mm2, rel=0.01)


def test_nothing_is_claimed_where_the_photo_does_not_reach(scene):
    tray, picture, _ = scene
    inside = picture.inside.copy()
    inside[:, :200] = False
    cut = type(picture)(
        np.where(inside[..., None], picture.rgb, 0).astype(np.uint8), inside, MM, picture.x0_mm, picture.y0_mm
    )
    result = segment_cells(cut, tray, stage="seedling", height=FLAT, settings=SETTINGS)
    assert not result.cover[:, :195].any()
