"""The period of a straightened picture, on waves whose period is chosen."""

import numpy as np
import pytest

from canopy.records import Layout
from canopy.settings.unaided import UnaidedSettings
from canopy.tray.period import period_px, repeats
from canopy.tray.straight import Straight


def waves(period, *, shape=(60, 190), noise=0.0):
    x = np.arange(shape[1])
    # A narrow dark wall once a period: its harmonics carry more than its fundamental, as with real trays.
    row = np.where((x + 0.3) % period < 0.15 * period, -1.0, 0.2)
    picture = np.tile(row, (shape[0], 1))[..., None].repeat(3, axis=2)
    picture += np.random.default_rng(5).normal(0, noise, picture.shape)
    return picture.astype(np.float32)


@pytest.mark.parametrize("period", [14.3, 16.0, 17.4])
@pytest.mark.parametrize("noise", [0.0, 1.0])
def test_period_is_found(period, noise):
    found, strength = period_px(waves(period, noise=noise), expected_px=16.0, within=0.12)
    # Over 190 px a period error of 0.5 % drifts by 1 px: what the search of the cells takes up easily.
    assert found == pytest.approx(period, rel=0.005)
    assert strength > UnaidedSettings().period_strength  # believed


def test_nothing_repeats_in_noise():
    noise = np.random.default_rng(1).normal(0, 1, (60, 190, 3)).astype(np.float32)
    _, strength = period_px(noise, expected_px=16.0, within=0.12)
    # 180 rows and channels are averaged, so chance stays within some tens of per cent of the usual power.
    assert strength < 1.5


def striped(period_x, period_y, shape=(240, 320)):
    """Dots at the crossings of two periods, as a straightened picture of mean 0; 1 mm a pixel, no margin."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    dots = ((x % period_x < 6) & (y % period_y < 6)).astype(np.float32)
    return Straight(np.repeat((dots - dots.mean())[..., None], 3, axis=2), np.zeros(2), 1.0)


def layout_of(pitch_x, pitch_y):
    return Layout(
        name="l", rows=int(240 / pitch_y), columns=int(320 / pitch_x), pitch_x_mm=pitch_x, pitch_y_mm=pitch_y,
        outline_width_mm=320, outline_height_mm=240,
    )  # fmt: skip


def test_a_picture_repeats_at_its_pitch_and_not_within():
    (whole_x, part_x), (whole_y, part_y) = repeats(striped(32, 24), layout_of(32, 24), within=0)
    # Exactly periodic: 1, less what a fifth of a period off leaves: 5 of 24 px off, dots of 6 px still share a sixth.
    assert whole_x > 0.99
    assert whole_y == pytest.approx(1 - 1 / 6, abs=0.05)  # the mean taken off both changes it a little
    assert max(part_x, part_y) < 0.05  # alike nowhere near


def test_every_second_cell_repeats_within_its_pitch():
    (whole_x, part_x), (_, part_y) = repeats(striped(32, 24), layout_of(64, 24), within=0)
    assert min(whole_x, part_x) > 0.99
    assert part_y < 0.05


def test_a_pitch_a_little_off_is_found_within_reach():
    (off, _), _ = repeats(striped(33, 24), layout_of(32, 24), within=0)
    (found, _), _ = repeats(striped(33, 24), layout_of(32, 24), within=0.05)
    assert found > 0.99 > off


def test_nothing_repeats_in_nothing():
    flat = Straight(np.zeros((240, 320, 3), np.float32), np.zeros(2), 1.0)
    assert repeats(flat, layout_of(32, 24), within=0.05) == [(0.0, 0.0), (0.0, 0.0)]
