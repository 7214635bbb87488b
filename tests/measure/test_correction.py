"""Colour correction: a 24-patch chart's published reflectances seen by a real camera's sensitivities in other light."""

import warnings

import numpy as np
import pytest

from canopy.measure.colour import ciede2000, linear_to_lab, srgb_to_linear
from canopy.measure.correction import NO_CORRECTION, balance, fit_correction, left_out_differences, root_terms

CAMERAS = ("Nikon 5100 (NPL)", "Sigma SDMerill (NPL)")


@pytest.fixture(scope="module")
def chart():
    """Reflectances of ISO 17321-1's chart and everything else spectral, 400 to 700 nm, from colour-science."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns at import of optional libraries that are not installed
        import colour
    shape = colour.SpectralShape(400, 700, 10)

    def values(thing):
        return np.asarray(thing.copy().align(shape).values)

    reflectance = np.array([values(patch) for patch in colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()])
    observer = values(colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])
    to_srgb = np.linalg.inv(colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ)

    def known():
        light = values(colour.SDS_ILLUMINANTS["D65"])
        xyz = (reflectance * light) @ observer / (observer[:, 1] * light).sum()
        return xyz @ to_srgb.T

    def seen(camera, illuminant):
        raw = (reflectance * values(colour.SDS_ILLUMINANTS[illuminant])) @ values(
            colour.MSDS_CAMERA_SENSITIVITIES[camera]
        )
        return raw / raw.max()

    return known(), seen


@pytest.mark.parametrize("camera", CAMERAS)
@pytest.mark.parametrize("illuminant", ["D50", "A", "LED-B3"])
def test_chart_in_other_light_comes_out_as_known(chart, camera, illuminant):
    known, seen = chart
    fit = fit_correction(seen(camera, illuminant), known)
    difference = ciede2000(linear_to_lab(fit(seen(camera, illuminant))), linear_to_lab(known))
    # The bounds that are promised: half of a chart within what an eye just sees side by side, none beyond 5.
    assert np.median(difference) <= 2
    assert difference.max() <= 5
    assert fit.residual_median == pytest.approx(np.median(difference), abs=1e-9)  # the same 24 numbers
    assert fit.residual_worst == pytest.approx(difference.max(), abs=1e-9)
    assert fit.patches == 24
    # Uncorrected but exposed as well as can be, the picture is far off: the fit does something.
    level = (known.mean() / seen(camera, illuminant).mean()) * seen(camera, illuminant)
    assert np.median(ciede2000(linear_to_lab(level), linear_to_lab(known))) > 2 * fit.residual_median


@pytest.mark.parametrize("k", [0.1, 0.5, 3.0])
def test_answer_goes_with_exposure(chart, k):
    known, seen = chart
    raw = seen(CAMERAS[0], "A")
    fit = fit_correction(raw, known)
    assert fit.kind == "root-polynomial"
    # k·RGB in, k·XYZ out (Finlayson, Mackiewicz & Hurlbert 2015); linear sRGB is a matrix times XYZ. Float rounding.
    np.testing.assert_allclose(fit(k * raw), k * fit(raw), rtol=1e-9, atol=1e-12)


def test_chart_of_another_exposure_gives_the_same_colours(chart):
    known, seen = chart
    raw = seen(CAMERAS[0], "D50")
    # Least squares is solved anew: the same minimum to the solver's own tolerance of 1e-8 in squared differences.
    np.testing.assert_allclose(fit_correction(0.3 * raw, known)(0.3 * raw), fit_correction(raw, known)(raw), atol=1e-4)


def test_a_camera_that_mixes_channels_linearly_is_undone_exactly():
    rng = np.random.default_rng(3)
    known = rng.uniform(0.05, 0.9, (12, 3))
    mix = np.array([[0.7, 0.2, 0.1], [0.1, 0.8, 0.1], [0.05, 0.25, 0.7]])
    fit = fit_correction(known @ mix, known)
    np.testing.assert_allclose(fit(known @ mix), known, atol=1e-9)
    assert fit.residual_worst < 1e-6  # the map exists, so nothing is left


def test_six_patches_leave_nothing_over_for_six_terms():
    rng = np.random.default_rng(4)
    known = rng.uniform(0.05, 0.9, (6, 3))
    seen = known * (1.3, 1.0, 0.6)
    assert np.isinf(left_out_differences(root_terms(seen), known)).all()
    assert fit_correction(seen, known).kind == "linear"


def test_left_out_difference_is_that_of_the_fit_without_the_patch():
    rng = np.random.default_rng(5)
    known = rng.uniform(0.05, 0.9, (9, 3))
    seen = known**0.9 * (1.2, 1.0, 0.7)
    got = left_out_differences(seen, known)
    weight = np.sqrt(np.maximum(known @ (0.2126, 0.7152, 0.0722), 0.01) ** (-2 / 3))[:, None]
    for i in range(9):
        rest = np.arange(9) != i
        matrix = np.linalg.lstsq((seen * weight)[rest], (known * weight)[rest], rcond=None)[0]
        expected = ciede2000(linear_to_lab(seen[i] @ matrix), linear_to_lab(known[i]))
        assert got[i] == pytest.approx(float(expected), rel=1e-6)  # the identity is exact; two ways of rounding


def test_grey_card_by_hand():
    # Card seen as linear (0.5, 0.4, 0.25): luminance 0.2126·0.5 + 0.7152·0.4 + 0.0722·0.25 = 0.41043.
    map_ = balance((0.5, 0.4, 0.25), source="markers")
    np.testing.assert_allclose(map_([[0.5, 0.4, 0.25]]), [[0.41043, 0.41043, 0.41043]], atol=1e-9)
    np.testing.assert_allclose(map_([[0.25, 0.2, 0.125]]), [[0.205215] * 3], atol=1e-9)
    assert map_.source == "markers"


def test_card_gains_of_a_grey_card_on_linear_values():
    # Card (180, 200, 160) taken as linear values: gains 200/180, 1, 200/160 up to a common factor.
    gains = np.diag(balance((180, 200, 160), source="card").matrix)
    np.testing.assert_allclose(gains / gains[1], (1.11111, 1, 1.25), atol=5e-6)


def test_no_correction_changes_nothing_and_no_light_stays_none():
    colours = srgb_to_linear(np.array([[0.2, 0.5, 0.1], [0, 0, 0]]))
    np.testing.assert_array_equal(NO_CORRECTION(colours), colours)
    assert (balance((0.5, 0.4, 0.3), source="card")(np.zeros((1, 3))) == 0).all()


def test_too_few_or_unlike_patches():
    with pytest.raises(ValueError, match="5; at least 6"):
        fit_correction(np.ones((5, 3)), np.ones((5, 3)))
    with pytest.raises(ValueError, match=r"\(6, 3\) and \(7, 3\)"):
        fit_correction(np.ones((6, 3)), np.ones((7, 3)))
