"""Plants carried back onto the photo's own pixels."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from canopy.outputs.masks import photo_mask, png_bytes

from .conftest import LAYOUT, MARGIN_MM, RADII_MM


def test_numbers_and_places_in_full_size_pixels(worked):
    mask = photo_mask(worked, cover_min=0.5)
    assert (mask.shape, mask.dtype) == ((300, 420), np.uint16)
    assert np.unique(mask).tolist() == [0, 1, 2, 3, 5, 6]
    for number, (centre, radius) in enumerate(zip(LAYOUT.centres_mm(), RADII_MM, strict=True), start=1):
        if radius:
            y, x = np.nonzero(mask == number)
            # Two full-size pixels to the millimetre; a decoded pixel p covers full-size pixels 2p and 2p + 1.
            assert (x.mean(), y.mean()) == pytest.approx(2 * (centre + MARGIN_MM) + 0.5, abs=0.3)
            drawn_px = np.count_nonzero(worked.segmentation.owner == number)
            assert len(x) == pytest.approx(4 * drawn_px, rel=0.03)  # corners of the coarser pixels are cut


def test_a_tray_that_lies_upside_down(turned):
    mask = photo_mask(turned, cover_min=0.5)
    np.testing.assert_array_equal(turned.photo.rgb[:, :, 1] == 150, mask[::2, ::2] > 0)


def test_a_higher_bound_marks_fewer_pixels(worked):
    worked.segmentation.cover[worked.segmentation.owner == 2] = 0.6
    assert 2 in photo_mask(worked, cover_min=0.5)
    assert 2 not in photo_mask(worked, cover_min=0.7)


def test_png_keeps_sixteen_bits():
    mask = np.array([[0, 1, 40000]], np.uint16)
    back = cv2.imdecode(np.frombuffer(png_bytes(mask, compression=3), np.uint8), cv2.IMREAD_UNCHANGED)
    np.testing.assert_array_equal(back, mask)
