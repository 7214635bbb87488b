from __future__ import annotations

import colorsys

import numpy as np
import pytest

from canopy.measure import indices

from .drawing import BROWN, LEAF, RED_LEAF, YELLOW

# Expected values: the published formulas worked by hand for four sample colours, printed to 5 decimals (so 1e-5 where
# a full fraction is not given). Sources of the formulas stand in each function's docstring.
HAND = [
    ("exg", LEAF, 14 / 22), ("exg", YELLOW, 0.26667), ("exg", BROWN, 0.0), ("exg", RED_LEAF, -0.34783),
    ("exr", LEAF, -0.16364), ("exr", YELLOW, 0.2), ("exr", BROWN, 0.28889), ("exr", RED_LEAF, 0.45217),
    ("exgr", LEAF, 0.8), ("exgr", YELLOW, 0.06667), ("exgr", BROWN, -0.28889), ("exgr", RED_LEAF, -0.8),
    ("cive", LEAF, -36.67255), ("cive", YELLOW, -24.00255), ("cive", BROWN, 21.81745), ("cive", RED_LEAF, 53.69745),
    ("ngrdi", LEAF, 1 / 3), ("ngrdi", YELLOW, -1 / 39), ("ngrdi", BROWN, -1 / 7), ("ngrdi", RED_LEAF, -0.375),
    ("ndai", LEAF, -1 / 3), ("ndai", YELLOW, 1 / 39), ("ndai", BROWN, 1 / 7), ("ndai", RED_LEAF, 0.375),
    ("gli", LEAF, 7 / 17), ("gli", YELLOW, 0.1875), ("gli", BROWN, 0.0), ("gli", RED_LEAF, -0.28571),
    ("vari", LEAF, 3 / 7), ("vari", YELLOW, -1 / 33), ("vari", BROWN, -0.2), ("vari", RED_LEAF, -2 / 3),
    ("tgi", LEAF, 6900), ("tgi", YELLOW, 7450), ("tgi", BROWN, 750), ("tgi", RED_LEAF, -3300),
    ("mexg", LEAF, 0.39073), ("mexg", YELLOW, 0.09849), ("mexg", BROWN, -0.04133), ("mexg", RED_LEAF, -0.24309),
    ("veg", LEAF, 2.28912), ("veg", YELLOW, 1.41854), ("veg", BROWN, 0.94472), ("veg", RED_LEAF, 0.52838),
    ("gcc", LEAF, 120 / 220), ("gcc", YELLOW, 190 / 450), ("gcc", BROWN, 1 / 3), ("gcc", RED_LEAF, 50 / 230),
    ("dgci", LEAF, 0.537582),
    ("hsv_hue_deg", LEAF, 105.0), ("hsv_hue_deg", YELLOW, 55.714), ("hsv_hue_deg", BROWN, 30.0),
    ("hsv_hue_deg", RED_LEAF, 340.0),
]  # fmt: skip
ALL = ["exg", "exr", "exgr", "cive", "ngrdi", "ndai", "gli", "vari", "tgi", "mexg", "veg", "gcc", "dgci", "hsv_hue_deg"]


@pytest.mark.parametrize(("name", "rgb", "expected"), HAND)
def test_worked_value(name, rgb, expected):
    # Printed digits: half of the last printed place, 5e-6 (hue: 3 decimals, 5e-4).
    tolerance = 5e-4 if name == "hsv_hue_deg" else 6e-6
    assert float(getattr(indices, name)(np.array(rgb))) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize("rgb", [YELLOW, BROWN, RED_LEAF, (40, 90, 120), (90, 90, 90)])
def test_dgci_is_missing_outside_its_hues(rgb):
    # Karcher & Richardson's scale runs from 60° (yellow) to 120° (green).
    assert np.isnan(indices.dgci(np.array(rgb)))


@pytest.mark.parametrize(("rgb", "hue_term"), [((200, 200, 50), 0.0), ((50, 200, 50), 1.0)])
def test_dgci_at_the_ends_of_its_hues(rgb, hue_term):
    # S = 150/200, V = 200/255 in both; 60° gives the hue term 0, 120° gives 1.
    assert float(indices.dgci(np.array(rgb))) == pytest.approx((hue_term + 0.25 + 55 / 255) / 3, abs=1e-12)


@pytest.mark.parametrize("name", ["exg", "ngrdi", "gli", "vari", "tgi"])
def test_grey_is_neutral(name):
    assert float(getattr(indices, name)(np.array([128, 128, 128]))) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("name", ALL)
def test_black_has_no_value_and_no_warning(name):
    pixels = np.array([[[0, 0, 0], LEAF]], dtype=np.uint8)  # warnings are errors in this suite
    got = getattr(indices, name)(pixels)
    assert got.shape == (1, 2)
    assert np.isnan(got[0, 0])
    assert np.isfinite(got[0, 1])


@pytest.mark.parametrize("name", ALL)
def test_bytes_and_floats_agree_and_input_stays(name):
    pixels = np.random.default_rng(5).integers(0, 256, (7, 11, 3), dtype=np.uint8)
    before = pixels.copy()
    function = getattr(indices, name)
    np.testing.assert_array_equal(function(pixels), function(pixels.astype(np.float64)))
    np.testing.assert_array_equal(pixels, before)


def test_hue_and_dgci_against_the_standard_library():
    pixels = np.random.default_rng(6).integers(1, 256, (500, 3))
    hsv = np.array([colorsys.rgb_to_hsv(*(pixel / 255)) for pixel in pixels])  # Python's own colorsys
    coloured = hsv[:, 1] > 0
    np.testing.assert_allclose(indices.hsv_hue_deg(pixels)[coloured], 360 * hsv[coloured, 0], atol=1e-9)
    hue, saturation, value = 360 * hsv[:, 0], hsv[:, 1], hsv[:, 2]
    inside = (hue >= 60) & (hue <= 120) & coloured
    expected = np.where(inside, ((hue - 60) / 60 + (1 - saturation) + (1 - value)) / 3, np.nan)
    np.testing.assert_allclose(indices.dgci(pixels), expected, atol=1e-12)


def test_veg_takes_zero_as_one():
    assert float(indices.veg(np.array([0, 100, 1]))) == pytest.approx(100.0)  # 1^0.667 · 1^0.333 = 1


def test_vari_is_missing_where_its_denominator_vanishes():
    assert np.isnan(indices.vari(np.array([50, 70, 120])))


def test_disc_line():
    # Two discs of known DGCI (0.0733, 0.5722) read as 0.10 and 0.50; a leaf read as 0.40: by hand.
    got = indices.correct_by_discs(0.40, observed=(0.10, 0.50), known=(0.0733, 0.5722))
    assert float(got) == pytest.approx(0.447475, abs=1e-6)


def test_disc_line_needs_two_discs():
    with pytest.raises(ValueError, match="two discs of different colour"):
        indices.correct_by_discs(0.4, observed=(0.3, 0.3), known=(0.1, 0.5))


def test_wrong_last_axis():
    with pytest.raises(ValueError, match="last axis must hold R, G, B"):
        indices.exg(np.zeros((4, 4)))


def test_chromaticity_sums_to_one():
    got = indices.chromaticity(np.array([LEAF, (0, 0, 0)]))
    assert got[0].sum() == pytest.approx(1)
    assert np.isnan(got[1]).all()
