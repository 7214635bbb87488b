"""The straightened tray: where its pixels lie, and that neither light nor surroundings show."""

import cv2
import numpy as np

from canopy.settings.unaided import UnaidedSettings
from canopy.tray.layouts import layout_from
from canopy.tray.straight import straighten

SETTINGS = UnaidedSettings()
LAYOUT = layout_from("72")
SHIFT = np.array([[2.0, 0, 60], [0, 2.0, 40], [0, 0, 1]])  # 2 px per mm, corner 0 at (60, 40)


def picture(*, light=1.0, ground=120):
    rng = np.random.default_rng(2)
    rgb = np.full((640, 1210, 3), ground, np.float64)
    rgb[40:600, 60:1140] = np.repeat(rng.uniform(60, 110, (560, 1080, 1)), 3, axis=2)
    return np.clip(rgb * light, 0, 255).astype(np.uint8)


def test_a_spot_lies_where_the_mapping_says():
    rgb = picture()
    rgb[40 + 2 * 100 - 6 : 40 + 2 * 100 + 7, 60 + 2 * 300 - 6 : 60 + 2 * 300 + 7] = 255  # at (300, 100) mm
    straight = straighten(rgb, SHIFT, LAYOUT, settings=SETTINGS)
    bright = cv2.GaussianBlur(
        straight.pixels.sum(axis=2), (0, 0), 1.5
    )  # strong deviations are cut off, so not one pixel
    row, col = np.unravel_index(np.argmax(bright), bright.shape)
    there = straight.to_px(np.array([[300.0, 100.0]]))[0]
    assert abs(col - there[0]) <= 1.5  # the spot is 6.5 mm wide and a pixel 2.7 mm
    assert abs(row - there[1]) <= 1.5


def test_surroundings_are_nothing():
    dark, bright = (straighten(picture(ground=g), SHIFT, LAYOUT, settings=SETTINGS) for g in (10, 240))
    inner = np.abs(dark.pixels - bright.pixels)
    # Bilinear sampling mixes the ground into the pixels right at the rim; nothing further in may change.
    first, last = (np.rint(dark.to_px(LAYOUT.outline_mm[k])).astype(int) for k in (0, 2))
    middle = inner[first[1] + 16 : last[1] - 16, first[0] + 16 : last[0] - 16]
    assert np.median(middle) < 0.02
    assert not dark.pixels[: first[1] - 2].any()
    assert not dark.pixels[:, last[0] + 2 :].any()


def test_half_the_light_looks_the_same():
    one, half = (straighten(picture(light=k), SHIFT, LAYOUT, settings=SETTINGS).pixels for k in (1.0, 0.5))
    # Rounding of code values near 40 changes their roots by up to 0.04 of a spread of about 0.5.
    assert np.abs(one - half).mean() < 0.1


def test_a_much_finer_photo_gives_the_same_picture():
    rgb = picture()
    finer = rgb.repeat(6, axis=0).repeat(6, axis=1)
    into = np.array([[6.0, 0, 2.5], [0, 6.0, 2.5], [0, 0, 1]])  # pixel x lies at 6·x + 2.5 of the finer one
    one = straighten(rgb, SHIFT, LAYOUT, settings=SETTINGS).pixels
    six = straighten(finer, into @ SHIFT, LAYOUT, settings=SETTINGS).pixels
    assert np.abs(one - six).mean() < 0.25  # noise of single pixels is averaged over slightly different places
