import numpy as np

from canopy.segment.feed import Feed
from canopy.segment.tidy import tidy_canopy
from canopy.settings.segment import AreaByStage, SegmentSettings

MM = 0.5
SETTINGS = SegmentSettings(min_piece_mm2=AreaByStage(seedling=4, finish=20, mat=2), peak_probability=0.7, hole_mm2=2.0)


def tidied(probability, *, stage="seedling", reach=None, coloured=None):
    shape = probability.shape
    blank = np.zeros((*shape, 3), np.uint8)
    everywhere = np.ones(shape, bool)
    return tidy_canopy(
        probability.astype(np.float32),
        reach=everywhere if reach is None else reach,
        feed=Feed(blank, blank, everywhere, 1.0, MM),
        plant_coloured=everywhere if coloured is None else coloured,
        stage=stage,
        settings=SETTINGS,
    )


def square(side_px, level=0.9, shape=(30, 40)):
    probability = np.zeros(shape)
    probability[5 : 5 + side_px, 7 : 7 + side_px] = level
    return probability


def test_smallest_piece_depends_on_the_stage():
    seedling = square(4)  # 16 pixels of 0.25 mm² = 4 mm²
    assert (tidied(seedling, stage="seedling") > 0.5).sum() == 16
    assert (tidied(seedling, stage="") > 0.5).sum() == 16
    assert not (tidied(seedling, stage="finish") > 0.5).any()
    assert not (tidied(square(3), stage="seedling") > 0.5).any()  # 2.25 mm²


def test_a_piece_that_never_convinces_is_dropped():
    assert not (tidied(square(8, level=0.65)) > 0.5).any()
    assert (tidied(square(8, level=0.75)) > 0.5).sum() == 64


def test_faint_pixels_around_a_speck_go_with_it_but_not_those_of_a_plant():
    probability = square(10)
    probability[5:15, 17] = 0.4  # faint rim of the plant
    probability[8:10, 20:22] = 0.9  # a speck of 1 mm² close to it
    probability[7, 20:22] = 0.3
    result = tidied(probability)
    assert not result[7:10, 20:22].any()
    np.testing.assert_allclose(result[5:15, 17], 0.4, rtol=1e-6)


def test_nothing_is_left_beyond_reach():
    reach = np.ones((30, 40), bool)
    reach[:, 12:] = False
    result = tidied(square(10), reach=reach)
    assert not result[:, 12:].any()
    assert (result[:, :12] > 0.5).sum() == 50


def test_only_tiny_plant_coloured_holes_are_filled():
    coloured = np.ones((30, 40), bool)
    probability = square(20)
    probability[8:10, 10:12] = 0.1  # 1 mm², plant-coloured
    probability[15:17, 10:12] = 0.1  # 1 mm², ground-coloured
    coloured[15:17, 10:12] = False
    probability[18:22, 20:24] = 0.1  # 4 mm², plant-coloured
    result = tidied(probability, coloured=coloured)
    assert (result[8:10, 10:12] > 0.5).all()
    assert not (result[15:17, 10:12] > 0.5).any()
    assert not (result[18:22, 20:24] > 0.5).any()


def test_holes_are_told_from_clefts_wherever_they_lie():
    # 2 mm² are 8 pixels of 0.25 mm².
    probability = np.full((30, 40), 0.9)
    probability[0:2, 0:4] = 0  # a hole of 8 pixels in the picture's corner
    probability[10, 5:13] = 0  # 8 pixels in a row
    probability[14, 5:14] = 0  # 9
    probability[20:26, 20:30] = 0  # open ground, and a cleft from it into the leaf, one pixel wide
    probability[17:20, 25] = 0
    expected = probability > 0.5
    expected[0:2, 0:4] = expected[10, 5:13] = True
    np.testing.assert_array_equal(tidied(probability) > 0.5, expected)


def test_bare_ground_stays_bare_and_input_is_not_modified():
    assert not tidied(np.zeros((10, 12))).any()
    probability = square(3).astype(np.float32)
    before = probability.copy()
    tidied(probability)
    np.testing.assert_array_equal(probability, before)
