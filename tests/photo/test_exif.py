"""Focal length in pixels from what EXIF says."""

import math

import pytest
from PIL.TiffImagePlugin import IFDRational

from canopy.photo.exif import focal_length_px

F35, FOCAL, RESOLUTION, UNIT, WRITTEN = 0xA405, 0x920A, 0xA20E, 0xA210, 0xA002


def test_equivalent_focal_length_goes_by_the_diagonal():
    # Full frame itself: 50 mm on 36 × 24 mm, 6000 × 4000 px, is 6000/36 px per mm: 8333.3 px.
    assert focal_length_px({F35: 50}, width_px=6000, height_px=4000) == pytest.approx(50 * 6000 / 36, rel=1e-9)
    # A 4 : 3 phone of 26 mm equivalent: 26/43.267 of its 5000 px diagonal.
    expected = 26 / math.hypot(36, 24) * 5000
    assert focal_length_px({F35: 26}, width_px=4000, height_px=3000) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("unit", "per_unit"), [(2, 25.4 * 200), (3, 10 * 200), (4, 200), (None, 25.4 * 200)])
def test_focal_plane_resolution(unit, per_unit):
    # 200 pixels per mm of sensor and 5 mm of focal length: 1000 px; inches when the unit is missing (EXIF 2.32).
    tags = {FOCAL: IFDRational(5, 1), RESOLUTION: per_unit, UNIT: unit}
    assert focal_length_px(tags, width_px=4000, height_px=3000) == pytest.approx(1000)


def test_smaller_copies_scale():
    tags = {FOCAL: 5.0, RESOLUTION: 200, UNIT: 4, WRITTEN: 4000}
    assert focal_length_px(tags, width_px=2000, height_px=1500) == pytest.approx(500)


UNKNOWN = [
    {},
    {F35: 0},
    {F35: "wide"},
    {FOCAL: 5.0},
    {FOCAL: IFDRational(0, 0), RESOLUTION: 200},
    {FOCAL: 5.0, RESOLUTION: 200, UNIT: 9},
]


@pytest.mark.parametrize("tags", UNKNOWN)
def test_too_little_is_unknown(tags):
    assert focal_length_px(tags, width_px=4000, height_px=3000) is None
