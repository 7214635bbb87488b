"""Embedded profiles come out as sRGB; colour-science is the reference."""

import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from canopy.photo import decode
from canopy.photo.colour import array_to_srgb
from canopy.settings import PhotoSettings

from .files import jpeg, rgb_profile, save, scene

# Leaf green, yellow, brown, red leaf, white, grey and the extremes of a wide gamut.
COLOURS = np.array(
    [[60, 120, 40], [200, 190, 60], [120, 90, 60], [110, 50, 70], [255, 255, 255], [128, 128, 128], [230, 40, 40]],
    np.uint8,
)
SRGB_CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)  # IEC 61966-2-1
ADOBE_CURVE = (563 / 256, 1.0, 0.0, 1.0, 0.0)  # Adobe RGB (1998): gamma 2.19921875


@pytest.fixture(scope="module")
def colour():
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns at import of optional libraries that are not installed
        import colour as library
    return library


def profile_of(colour, space, curve):
    """Primaries adapted to D50 by Bradford, as ICC asks."""
    rgb = colour.RGB_COLOURSPACES[space]
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(rgb.whitepoint), np.array([0.9642, 1.0, 0.8249]), transform="Bradford"
    )
    return rgb_profile(space, adapt @ rgb.matrix_RGB_to_XYZ, curve)


@pytest.mark.parametrize(
    ("space", "curve"), [("Display P3", SRGB_CURVE), ("Adobe RGB (1998)", ADOBE_CURVE), ("sRGB", SRGB_CURVE)]
)
def test_wide_gamut_becomes_srgb(colour, space, curve):
    data = save(np.tile(COLOURS, (70, 10, 1)), "PNG", icc_profile=profile_of(colour, space, curve))
    got = decode(data, name="wide.png", settings=PhotoSettings()).rgb[0, : len(COLOURS)]
    reference = colour.RGB_to_RGB(COLOURS / 255, space, "sRGB", apply_cctf_decoding=True, apply_cctf_encoding=True)
    # Eight-bit rounding (0.5), the colour engine's 8-bit curves (0.5) and the sRGB primaries' rounding in ICC.
    assert np.abs(got - np.clip(reference * 255, 0, 255)).max() <= 1.5


def test_reduced_jpeg_with_profile(colour):
    profile = profile_of(colour, "Display P3", SRGB_CURVE)
    flat = np.full((160, 320, 3), COLOURS[0], np.uint8)
    got = decode(jpeg(flat, icc_profile=profile), name="p3.jpg", min_long_side_px=80, settings=PhotoSettings())
    assert got.reduction == 4
    # Display P3 (60, 120, 40) is sRGB (30.2, 121.8, 21.3) by colour-science; JPEG adds two codes.
    assert np.abs(got.rgb.astype(int) - (30, 122, 21)).max() <= 3


def test_srgb_profile_changes_nothing():
    pixels = scene().copy()
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert array_to_srgb(pixels, profile) is pixels
    np.testing.assert_array_equal(pixels, scene())


@pytest.mark.parametrize("profile", [b"", b"not a profile", b"\0" * 200])
def test_unusable_profile_is_taken_for_srgb(profile):
    pixels = scene().copy()
    np.testing.assert_array_equal(array_to_srgb(pixels, profile), scene())


def test_grey_with_an_rgb_profile(colour):
    grey = np.full((80, 80), 118, np.uint8)
    data = save(Image.fromarray(grey), "JPEG", quality=95, icc_profile=profile_of(colour, "Display P3", SRGB_CURVE))
    got = decode(data, name="grey.jpg", settings=PhotoSettings()).rgb
    assert np.abs(got.astype(int) - 118).max() <= 1  # both spaces share white and curve: grey stays


def test_strips_join_without_a_seam(colour):
    tall = np.repeat(np.linspace(0, 255, 700).astype(np.uint8)[:, None, None], 8, axis=1).repeat(3, axis=2)
    profile = profile_of(colour, "Adobe RGB (1998)", ADOBE_CURVE)
    whole = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.createProfile("sRGB"), "RGB", "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )  # fmt: skip
    expected = np.asarray(ImageCms.applyTransform(Image.fromarray(tall), whole))
    np.testing.assert_array_equal(array_to_srgb(tall.copy(), profile), expected)
