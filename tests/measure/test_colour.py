from __future__ import annotations

import warnings

import numpy as np
import pytest
from skimage.color import rgb2lab

from canopy.measure.colour import (
    ciede2000,
    circular_mean_deg,
    codes_to_linear,
    lab_chroma,
    lab_hue_deg,
    lightness,
    linear_to_srgb,
    srgb_to_lab,
    srgb_to_linear,
)

from .conftest import read_truth
from .drawing import BROWN, LEAF, RED_LEAF, YELLOW

with warnings.catch_warnings():
    warnings.simplefilter(
        "ignore"
    )  # the library warns on import that its plots need matplotlib, which is not used here
    import colour


def test_transfer_function():
    # IEC 61966-2-1, worked by hand; printed to 6 decimals.
    assert float(srgb_to_linear(188 / 255)) == pytest.approx(0.502886, abs=1e-6)
    assert float(linear_to_srgb(0.18)) == pytest.approx(0.461356, abs=1e-6)


def test_transfer_function_against_colour_science():
    coded = np.linspace(0, 1, 1001)
    np.testing.assert_allclose(srgb_to_linear(coded), colour.models.eotf_sRGB(coded), atol=1e-12)
    # At the knee the standard's two rounded limits (0.04045, 0.0031308) do not meet: 1e-7 is their gap.
    np.testing.assert_allclose(linear_to_srgb(srgb_to_linear(coded)), coded, atol=1e-7)


@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        (LEAF, (45.01, -35.38, 36.85)),
        (YELLOW, (75.72, -11.36, 63.47)),
        (BROWN, (40.63, 8.27, 22.05)),
        (RED_LEAF, (29.51, 28.97, 0.30)),
    ],
)
def test_lab_of_sample_colours(rgb, lab):
    # CIE 15, D65 2°, from a colour library, printed to 2 decimals; 0.02 leaves room for its rounded matrix.
    np.testing.assert_allclose(srgb_to_lab(np.array(rgb, dtype=np.uint8)), lab, atol=0.02)


def test_lab_against_two_libraries():
    pixels = np.random.default_rng(7).integers(0, 256, (40, 30, 3), dtype=np.uint8)
    got = srgb_to_lab(pixels)
    np.testing.assert_allclose(got, rgb2lab(pixels), atol=0.02)  # 4-decimal white point against exact row sums
    xyz = colour.sRGB_to_XYZ(pixels / 255)
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    np.testing.assert_allclose(got, colour.XYZ_to_Lab(xyz, white), atol=0.05)  # matrix of the standard, 4 decimals
    np.testing.assert_allclose(srgb_to_lab(pixels.astype(float)), got, atol=1e-9)  # table against formula
    np.testing.assert_allclose(lightness(pixels), got[..., 0], atol=1e-9)


def test_lab_of_the_24_patches():
    chart = read_truth("colour_chart_24.csv").query("out_of_srgb_gamut == 0")
    got = srgb_to_lab(255 * chart[["sR", "sG", "sB"]].to_numpy())
    # Printed floats have 6 decimals; the rest is the white point's fourth decimal.
    np.testing.assert_allclose(got, chart[["L_D65", "a_D65", "b_D65"]].to_numpy(), atol=0.05)
    assert len(chart) == 46


def test_grey_is_neutral_in_lab():
    greys = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
    lab = srgb_to_lab(greys)
    assert np.abs(lab[:, 1:]).max() < 1e-9  # the white is the sum of the matrix rows, so exact
    assert lab[255, 0] == pytest.approx(100)
    assert lab[0, 0] == pytest.approx(0)


def test_lab_hue_and_chroma():
    lab = srgb_to_lab(np.array([LEAF, YELLOW, BROWN, RED_LEAF], dtype=np.uint8))
    np.testing.assert_allclose(lab_hue_deg(lab), [133.83, 100.15, 69.45, 0.59], atol=0.05)  # printed Lab, 2 decimals
    np.testing.assert_allclose(lab_chroma(lab), [51.09, 64.48, 23.55, 28.97], atol=0.02)


def test_ciede2000_published_pairs():
    pairs = read_truth("ciede2000_pairs.csv")
    got = ciede2000(pairs[["L1", "a1", "b1"]].to_numpy(), pairs[["L2", "a2", "b2"]].to_numpy())
    np.testing.assert_allclose(got, pairs["dE00"], atol=1e-4)  # printed to 4 decimals
    assert len(pairs) == 34


def test_ciede2000_against_colour_science():
    rng = np.random.default_rng(8)
    first, second = (rng.uniform([0, -60, -60], [100, 60, 60], (200, 3)) for _ in range(2))
    np.testing.assert_allclose(ciede2000(first, second), colour.difference.delta_E_CIE2000(first, second), atol=1e-6)


@pytest.mark.parametrize(
    ("angles", "mean"),
    [([350, 10], 0.0), ([90, 90], 90.0), ([10, 30], 20.0), ([340, 350, np.nan], 345.0)],
)
def test_circular_mean(angles, mean):
    assert circular_mean_deg(angles) == pytest.approx(mean, abs=1e-6)


@pytest.mark.parametrize("angles", [[], [np.nan], [0, 180]])
def test_circular_mean_is_missing_without_direction(angles):
    assert np.isnan(circular_mean_deg(angles))


@pytest.mark.parametrize("shape", [(3,), (0, 3), (2, 4, 3)])
def test_bytes_and_floats_of_one_colour_are_one_light(shape):
    codes = np.random.default_rng(1).integers(0, 256, shape, dtype=np.uint8)
    np.testing.assert_array_equal(codes_to_linear(codes), srgb_to_linear(codes / 255))
