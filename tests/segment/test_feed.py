import numpy as np
import pytest

from canopy.segment.feed import exposure_gain, feed_factor, make_feed
from canopy.settings.segment import SegmentSettings

from .drawn import blank, layout

SETTINGS = SegmentSettings()


def test_feed_has_the_stages_scale():
    picture = blank(layout(6, 12), mm_per_px=0.25)
    for stage, mm_per_px in (("seedling", 0.5), ("", 0.5), ("finish", 0.6), ("mat", 0.6)):
        feed = make_feed(picture, stage=stage, settings=SETTINGS)
        # Whole pixels: rounding both sides moves the scale by no more than half a pixel in some 600.
        assert feed.mm_per_px == pytest.approx(mm_per_px, rel=1e-3)


def test_large_pictures_are_shrunk_to_the_bound_and_small_ones_are_kept():
    settings = SegmentSettings(feed_max_megapixels=0.9, feed_min_megapixels=0.15)
    # Areas go with the square of the factor: 10 Mpx at 0.5 of 0.5 mm/px would stay whole but for the bound.
    assert feed_factor(10, mm_per_px=0.5, stage="seedling", settings=settings) == pytest.approx(0.3)
    assert feed_factor(0.3, mm_per_px=1.0, stage="seedling", settings=settings) == 1.0
    assert feed_factor(0.0375, mm_per_px=1.0, stage="seedling", settings=settings) == pytest.approx(2.0)


def test_gain_brings_the_mean_of_valid_pixels_to_042():
    rgb = np.zeros((4, 6, 3), np.uint8)
    rgb[:, :3] = (51, 102, 0)  # mean of the channels 51 = 0.2 of 255
    valid = np.zeros((4, 6), bool)
    valid[:, :3] = True
    assert exposure_gain(rgb, valid=valid) == pytest.approx(0.42 / 0.2)


@pytest.mark.parametrize(("level", "gain"), [(1, 4.0), (255, 0.6)])
def test_gain_is_limited(level, gain):
    assert exposure_gain(np.full((3, 5, 3), level, np.uint8), valid=np.ones((3, 5), bool)) == gain


def test_no_valid_pixel_leaves_the_picture_as_it_is():
    assert exposure_gain(np.zeros((3, 5, 3), np.uint8), valid=np.zeros((3, 5), bool)) == 1.0
