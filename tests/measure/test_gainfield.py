"""Uneven light on drawn trays: pale rim, dark medium, discs of leaf, under a field that is known."""

from dataclasses import replace

import numpy as np
import pytest

from canopy.measure.colour import linear_to_srgb, srgb_to_linear
from canopy.measure.gainfield import fit_gain_field
from canopy.settings.light import GainSettings

from .drawing import disc, draw, layout_of

SETTINGS = GainSettings()
LAYOUT = layout_of(6, 9)
PLANTS = {name: disc(9.0 + n % 5) for n, name in enumerate(LAYOUT.names()) if n % 7}


def tray(field=None, *, media=None, seed=1):
    """Rectified tray and segmentation; `field` gives ln light (n, 3) at (n, 2) mm."""
    rectified, segmentation = draw(LAYOUT, PLANTS, mm_per_px=0.5)
    height, width = rectified.rgb.shape[:2]
    y, x = np.mgrid[:height, :width]
    at = rectified.to_mm(np.stack([x.ravel(), y.ravel()], axis=1).astype(float))
    linear = srgb_to_linear(rectified.rgb / 255.0)
    first = LAYOUT.centres_mm()[0] - (LAYOUT.pitch_x_mm / 2, LAYOUT.pitch_y_mm / 2)
    inside = (at - first) % (LAYOUT.pitch_x_mm, LAYOUT.pitch_y_mm)
    pitch = np.array([LAYOUT.pitch_x_mm, LAYOUT.pitch_y_mm])
    rim = (np.minimum(inside, pitch - inside) < 4).any(axis=1).reshape(height, width)
    ground = segmentation.cover < 0.5
    linear[ground & rim] = (0.3, 0.3, 0.32)
    if media is not None:
        cell = ((at - first) // pitch).astype(int).reshape(height, width, 2)
        linear[ground & ~rim] *= media(cell[ground & ~rim])[:, None]
    linear *= np.exp(np.random.default_rng(seed).normal(0, 0.1, (height, width, 1)))
    if field is not None:
        linear *= np.exp(field(at)).reshape(height, width, 3)
    rgb = np.round(255 * linear_to_srgb(np.clip(linear, 0, 1))).astype(np.uint8)
    return type(rectified)(rgb, rectified.inside, 0.5, rectified.x0_mm, rectified.y0_mm), segmentation


def bars(at):
    """Lamp bars 140 mm apart across the tray."""
    return 0.25 * np.cos(2 * np.pi * at[:, :1] / 140) * np.ones(3)


def side(at):
    """Light that falls off to one side and turns warm on the way."""
    fall = at[:, 1] / LAYOUT.outline_height_mm - 0.5
    return np.stack([-0.6 * fall, -0.7 * fall, -0.9 * fall], axis=1)


@pytest.mark.parametrize("light", [bars, side])
def test_field_is_found(light):
    field = fit_gain_field(*tray(light), LAYOUT, settings=SETTINGS)
    centres = LAYOUT.centres_mm()
    found, true = field.ln_gain(centres), light(centres)
    # Known up to a constant. 0.045 is a code value or two at leaf colours: parts that hold rim and medium, and the
    # field's smoothness, which takes a little off a bar's crest.
    np.testing.assert_allclose(found - found.mean(axis=0), true - true.mean(axis=0), atol=0.045)
    assert field.explained > 0.5
    y, x = np.mgrid[0.5:40, 0.5:60]
    even = np.stack([x.ravel() / 60 * LAYOUT.outline_width_mm, y.ravel() / 40 * LAYOUT.outline_height_mm], axis=1)
    assert field.spread == pytest.approx(light(even).mean(axis=1).std(), rel=0.12)  # 0.04 of a spread of 0.2 and more


def test_even_light_has_no_field():
    assert fit_gain_field(*tray(), LAYOUT, settings=SETTINGS) is None


def test_media_that_differ_are_not_light():
    # One half of the tray filled with a medium twice as light; the rims say that the light is even.
    rectified, segmentation = tray(media=lambda cell: np.where(cell[:, 0] < 5, 1.0, 2.0))
    field = fit_gain_field(rectified, segmentation, LAYOUT, settings=SETTINGS)
    assert field is None or field.spread < 0.1  # ln 2 would be a spread of 0.35


def test_too_little_ground_tells_nothing():
    rectified, segmentation = tray(bars)
    none = replace(segmentation, cover=np.ones_like(segmentation.cover))
    assert fit_gain_field(rectified, none, LAYOUT, settings=SETTINGS) is None
    assert fit_gain_field(rectified, segmentation, LAYOUT, settings=GainSettings(enabled=False)) is None
