"""Light: directions and shadows by geometry, colours by what the words mean."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from canopy.synthetic.light import Light, brightness_field, kelvin_rgb, lamp_bars, purple_light, room_light, side_light

from .built import EVEN_LIGHT


def _field(light: Light, seed: int = 1) -> np.ndarray:
    return brightness_field(light, height_px=90, width_px=160, rng=np.random.default_rng(seed))


def test_the_direction_of_light_is_a_unit_vector():
    light = replace(EVEN_LIGHT, azimuth_deg=30, elevation_deg=45)
    # By hand: cos 45° cos 30°, cos 45° sin 30°, sin 45°.
    assert light.towards == pytest.approx((0.612372, 0.353553, 0.707107), abs=1e-6)  # printed digits


def test_at_45_degrees_a_shadow_falls_as_far_as_its_thing_is_high():
    light = replace(EVEN_LIGHT, azimuth_deg=90, elevation_deg=45)  # light from +y: the shadow lies towards -y
    assert light.shadow_offset_mm(30.0) == pytest.approx((0.0, -30.0), abs=1e-9)


def test_daylight_is_white_and_lamps_are_warm():
    assert kelvin_rgb(6500) == pytest.approx((1, 1, 1), abs=1e-12)  # the reference point itself
    red, _, blue = kelvin_rgb(2800)
    assert red > 1 > blue
    assert np.mean(kelvin_rgb(2800)) == pytest.approx(1, abs=1e-12)
    assert kelvin_rgb(12000)[2] > 1


def test_even_light_is_its_colour_everywhere():
    field = _field(replace(EVEN_LIGHT, rgb=(1.2, 1.0, 0.7)))
    assert field.dtype == np.float32
    assert field.shape == (90, 160, 3)
    np.testing.assert_allclose(field, np.broadcast_to([1.2, 1.0, 0.7], field.shape), rtol=1e-6)  # float32


def test_unevenness_varies_brightness_and_not_colour():
    field = _field(replace(EVEN_LIGHT, unevenness=0.3))
    assert np.log(field[..., 1]).std() > 0.05
    np.testing.assert_allclose(field[..., 0], field[..., 1], rtol=1e-5)  # float32
    # The bumps are centred on their median before they are enlarged and raised: the middle stays near 1.
    assert np.median(field) == pytest.approx(1, abs=0.1)


def test_tint_varies_red_against_blue():
    field = _field(replace(EVEN_LIGHT, tint_unevenness=0.2))
    assert np.log(field[..., 0] / field[..., 2]).std() > 0.05
    np.testing.assert_allclose(field[..., 1], 1, rtol=1e-6)  # green is left alone


def test_bars_darken_down_to_their_depth():
    field = _field(replace(EVEN_LIGHT, bars=0.5))
    # Between full light and 1 - depth; cubic enlarging overshoots by a few per cent.
    assert field.max() == pytest.approx(1.0, abs=0.05)
    assert field.min() == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("seed", range(5))
def test_lights_are_what_they_are_called(seed):
    rng = np.random.default_rng(seed)
    purple, side, bars = purple_light(rng), side_light(rng), lamp_bars(rng)
    assert purple.rgb[1] < 0.5 * min(purple.rgb[0], purple.rgb[2])
    assert side.elevation_deg < 50
    assert side.direct > 0.5
    assert bars.bars > 0
    assert room_light(rng, even=True).unevenness <= 0.3 * 0.35  # a third of what any room may have


def test_the_same_seed_gives_the_same_light():
    assert room_light(np.random.default_rng(4)) == room_light(np.random.default_rng(4))
    light = replace(EVEN_LIGHT, unevenness=0.3, bars=0.2)
    np.testing.assert_array_equal(_field(light, 2), _field(light, 2))
    assert not np.array_equal(_field(light, 2), _field(light, 3))
