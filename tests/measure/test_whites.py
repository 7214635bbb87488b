"""The markers' white in drawn photos under coloured light."""

import cv2
import numpy as np
import pytest

from canopy.measure.colour import linear_to_srgb
from canopy.measure.correction import LUMINANCE
from canopy.measure.whites import marker_white
from canopy.records import Layout
from canopy.settings import PhotoSettings
from canopy.settings.light import LightSettings

LAYOUT = Layout(
    name="t", rows=2, columns=3, pitch_x_mm=40, pitch_y_mm=40, outline_width_mm=140, outline_height_mm=90
)  # fmt: skip
PX_PER_MM, BORDER_MM = 3.0, 40.0
PAPER = 0.7
LIGHT = np.array([0.9, 0.6, 0.3])


def to_px(points_mm):
    return (points_mm + BORDER_MM) * PX_PER_MM - 0.5


def photo(*, light=LIGHT, shade=1.0):
    """Four markers on grey ground; marker 0 in shade."""
    height, width = (round((side + 2 * BORDER_MM) * PX_PER_MM) for side in (90, 140))
    picture = np.full((height, width, 3), 0.15)
    side = round(LAYOUT.markers.side_mm * PX_PER_MM)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    away = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * LAYOUT.markers.offset_mm
    for number, place in enumerate(LAYOUT.outline_mm + away):
        x, y = np.round((place + BORDER_MM) * PX_PER_MM - side / 2).astype(int)
        code = cv2.aruco.generateImageMarker(dictionary, number, side) > 127
        picture[y : y + side, x : x + side] = np.where(code, PAPER, 0.05)[..., None] * (shade if number == 0 else 1)
    return np.round(255 * linear_to_srgb(np.clip(picture * light, 0, 1))).astype(np.uint8)


def white_of(picture, **settings):
    return marker_white(picture, to_px, LAYOUT, settings=LightSettings(**settings), photo=PhotoSettings())


@pytest.mark.parametrize("shade", [1.0, 0.4])
def test_white_has_the_colour_of_the_light(shade):
    # Neutral paper shows the light's own colour, here brought to luminance 1; codes of 8 bits are good to 1 %.
    np.testing.assert_allclose(white_of(photo(shade=shade)), LIGHT / (LIGHT @ LUMINANCE), rtol=0.01)


def test_one_covered_marker_does_not_matter_and_four_do():
    picture = photo()
    picture[:, :150] = (40, 120, 40)  # leaves over the two markers on the left
    np.testing.assert_allclose(white_of(picture), LIGHT / (LIGHT @ LUMINANCE), rtol=0.01)
    picture[:] = (40, 120, 40)
    assert white_of(picture) is None


def test_clipped_white_is_no_reference():
    assert white_of(photo(light=LIGHT * 3)) is None  # 0.7 × 2.7 is far above white
    assert white_of(photo(), marker_contrast_min=20.0) is None
