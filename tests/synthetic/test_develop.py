"""The camera's picture of known light: levels by hand, blur by the normal distribution."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from canopy.synthetic.develop import develop, everyday_look

from .built import FAULTLESS


def _developed(light: np.ndarray, seed: int = 1, **changes: object) -> np.ndarray:
    return develop(light.astype(np.float32), replace(FAULTLESS, **changes), rng=np.random.default_rng(seed))


def _flat(value: float = 0.5, shape: tuple[int, int] = (60, 80)) -> np.ndarray:
    return np.full((*shape, 3), value)


@pytest.mark.parametrize(
    ("grey", "gamma", "code"),
    [
        (0.18, 2.2, 117),  # 255 * 0.18^(1/2.2) = 116.96
        (0.05, 2.2, 65),  # 65.34
        (0.25, 1.0, 64),  # 63.75: no curve
    ],
)
def test_an_even_surface_comes_out_at_the_asked_grey(grey, gamma, code):
    picture = _developed(_flat(), grey=grey, gamma=gamma)
    assert picture.dtype == np.uint8
    assert np.unique(picture).tolist() == [code]


def test_the_exposure_does_not_hang_on_the_brightness_of_the_scene():
    np.testing.assert_array_equal(_developed(_flat(0.1)), _developed(_flat(0.9)))


def test_the_light_given_is_left_as_it_was():
    light = np.random.default_rng(0).random((20, 30, 3)).astype(np.float32)
    before = light.copy()
    develop(light, everyday_look(np.random.default_rng(1)), rng=np.random.default_rng(2))
    np.testing.assert_array_equal(light, before)


def test_defocus_spreads_an_edge_as_the_normal_distribution():
    light = _flat(0.0, (40, 81))
    light[:, 40:] = 1.0  # the edge lies half a pixel left of column 40
    picture = _developed(light, defocus_px=4.0, gamma=1.0, grey=light.mean()) / 255
    away = np.arange(81) - 39.5
    # Codes are whole (1/510), the kernel is cut off at about 3 to 4 sd: 0.005.
    np.testing.assert_allclose(picture[20, :, 1], norm.cdf(away / 4.0), atol=0.005)


def test_shake_spreads_a_point_along_its_direction():
    light = _flat(0.0, (41, 61))
    light[20, 30] = 1.0
    picture = _developed(light, motion_px=9.0, motion_deg=0.0, gamma=1.0, grey=5 * light.mean())
    rows, columns = np.nonzero(picture[..., 1])
    assert columns.max() - columns.min() in (8, 9, 10)  # 9 px, ends partly covered
    assert rows.max() - rows.min() <= 2


def test_vignetting_takes_light_from_the_corners():
    picture = _developed(_flat(), vignetting=0.4, gamma=1.0, grey=0.5)
    middle, corner = picture[30, 40, 1], picture[0, 0, 1]
    assert corner / middle == pytest.approx(0.6, abs=0.01)  # 1 - 0.4; whole codes near 100 to 150


def test_wrong_white_balance_multiplies_the_light():
    picture = _developed(_flat(), balance=(1.5, 1.0, 0.5), gamma=1.0, grey=0.4)
    assert picture[0, 0].tolist() == [153, 102, 51]  # 255 * 0.4 * (1.5, 1, 0.5)


def test_crosstalk_greys_colours_and_leaves_white():
    assert np.unique(_developed(_flat(), crosstalk=0.2)).tolist() == [117]
    green = _flat(0.0)
    green[..., 1] = 0.6
    picture = _developed(green, crosstalk=0.2, gamma=1.0)
    assert 0 < picture[0, 0, 0] < picture[0, 0, 1]


def test_noise_grows_with_the_root_of_the_light():
    pictures = [_developed(_flat(0.5, (200, 300)), noise=0.05, gamma=1.0, grey=grey) / 255 for grey in (0.1, 0.4)]
    expected = [0.05 * np.sqrt(grey + 0.003) for grey in (0.1, 0.4)]
    # 180,000 samples: the standard error of a standard deviation is 0.2 %; whole codes add 0.3 % to the smaller one.
    assert [p.std() for p in pictures] == pytest.approx(expected, rel=0.01)


def test_saturation_keeps_grey_and_spreads_colour():
    light = np.broadcast_to([0.3, 0.6, 0.2], (10, 12, 3)).copy()
    plain, strong = _developed(light, grey=0.3)[0, 0].astype(int), _developed(light, grey=0.3, saturation=1.4)[0, 0]
    assert strong[1] - int(strong[2]) > plain[1] - plain[2]
    assert np.unique(_developed(_flat(), saturation=1.4)).tolist() == [117]


def test_too_much_light_is_clipped_and_never_wraps():
    light = _flat(0.05)
    light[10:20] = 50.0
    picture = _developed(light, sharpening=1.2, noise=0.02, contrast=0.5, grey=0.5)
    assert picture[15, 40].tolist() == [255, 255, 255]
    assert picture.min() >= 0


def test_colour_fringes_grow_towards_the_corners():
    light = _flat(0.2, (120, 160))
    light[::20, :] = light[:, ::20] = 1.0
    picture = _developed(light, chromatic_px=2.0).astype(int)
    apart = np.abs(picture[..., 0] - picture[..., 2])
    assert apart[50:70, 70:90].mean() < 0.5 * apart[:20, :20].mean()


def test_the_same_seed_gives_the_same_noise():
    np.testing.assert_array_equal(_developed(_flat(), noise=0.05), _developed(_flat(), noise=0.05))
    assert not np.array_equal(_developed(_flat(), noise=0.05), _developed(_flat(), seed=2, noise=0.05))


def test_a_plain_look_has_smaller_faults():
    hard, plain = ([everyday_look(np.random.default_rng(n), hard=h) for n in range(40)] for h in (True, False))
    for fault in ("motion_px", "vignetting", "crosstalk", "noise", "sharpening", "haze"):
        assert np.mean([getattr(look, fault) for look in plain]) < np.mean([getattr(look, fault) for look in hard])
