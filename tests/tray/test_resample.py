"""Shrinking keeps every place where it was: a ramp of brightness tells the place of each pixel."""

import cv2
import numpy as np
import pytest

from canopy.tray.resample import Mapping, remap_by_grid, shrunk


@pytest.mark.parametrize("size", [(400, 300), (250, 190), (200, 150), (133, 90), (61, 47)])
@pytest.mark.parametrize("shape", [(300, 400), (301, 403)])
def test_ramps_stay_where_they_were(shape, size):
    width, height = size
    x, y = np.linspace(0, 255, shape[1]), np.linspace(0, 255, shape[0])
    picture = np.rint(np.stack(np.broadcast_arrays(x, y[:, None]), axis=-1)).astype(np.uint8)
    small = shrunk(picture, width, height)
    assert small.shape == (height, width, 2)
    # Pixel i of n covers the ground from i/n to (i + 1)/n, whatever n: its middle's place on the ramp.
    for channel, (n, full) in enumerate(((width, shape[1]), (height, shape[0]))):
        at = ((np.arange(n) + 0.5) * full / n - 0.5) / (full - 1) * 255
        off = small[..., channel].mean(axis=channel) - at
        # Half a code of rounding in the picture, the means and the samples; the outermost pixels repeat the border.
        assert np.abs(off[1:-1]).max() < 1.6
        # A straight line averages most of the rounding out (0.35 is left). A pixel dropped at the far side and not
        # made up for moves places there by 0.5 to 0.8.
        line = np.polynomial.Polynomial.fit(np.arange(1, n - 1), off[1:-1], 1)
        assert np.abs(line(np.array([0, n - 1]))).max() < 0.4


def test_the_same_size_is_the_same_picture():
    picture = np.random.default_rng(0).integers(0, 255, (40, 60, 3), dtype=np.uint8)
    np.testing.assert_array_equal(shrunk(picture, 60, 40), picture)


def test_whole_factors_are_block_means():
    picture = np.random.default_rng(1).integers(0, 255, (40, 60), dtype=np.uint8)
    means = picture.reshape(10, 4, 15, 4).mean(axis=(1, 3))
    assert np.abs(shrunk(picture, 15, 10) - means).max() <= 0.5 + 1e-9  # rounded to whole codes


@pytest.mark.parametrize("interpolation", [cv2.INTER_LINEAR, cv2.INTER_NEAREST])
def test_a_colour_picture_is_sampled_as_its_channels_are(interpolation):
    picture = np.random.default_rng(2).integers(0, 255, (530, 410, 3), dtype=np.uint8)

    def bent(px):  # beyond the picture on all sides; halves of pixels, which are rounded, among the places
        return np.round((px * (0.8, 1.4) - (55, 90) + 2e-5 * px**2) * 2) / 2

    whole, *channels = (
        remap_by_grid(part, Mapping(bent, None), 600, 500, interpolation=interpolation, step_px=8)
        for part in (picture, *(np.ascontiguousarray(picture[..., c]) for c in range(3)))
    )
    # The same sums of whole numbers, however many channels are handled at a time.
    np.testing.assert_array_equal(whole, np.stack(channels, axis=-1))
    assert whole[0].max() == 0 < whole[250].max()
