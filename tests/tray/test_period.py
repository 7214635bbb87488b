"""The period of a straightened picture, on waves whose period is chosen."""

import numpy as np
import pytest

from canopy.settings.unaided import UnaidedSettings
from canopy.tray.period import period_px


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
