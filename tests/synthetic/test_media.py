"""Media are physical, repeatable, and none is green."""

from __future__ import annotations

import numpy as np
import pytest

from canopy.synthetic.media import MEDIA, paint_medium, paint_medium_sheet
from canopy.synthetic.noise import Raster


@pytest.mark.parametrize("kind", MEDIA)
def test_medium(kind):
    raster = Raster(80, 110, 0.4)
    first, again = (paint_medium(kind, raster, np.random.default_rng(5)) for _ in range(2))
    assert first.shape == (80, 110, 3)
    assert first.dtype == np.float32
    assert 0 <= first.min() <= first.max() <= 1
    assert first.tobytes() == again.tobytes()
    red, green, blue = first.mean(axis=(0, 1))
    # Bare media are grey, brown, tan: green (on the mean) never leads both others by more than a tint of 5 %.
    assert green < 1.05 * max(red, blue)


def test_sheet_is_one_tile_mirrored():
    raster = Raster(50, 90, 0.4)
    sheet = paint_medium_sheet("peat", raster, np.random.default_rng(0), tile_px=40)
    assert sheet.shape == (50, 90, 3)
    np.testing.assert_array_equal(sheet[:, 40:80], sheet[:, 39::-1])


def test_unknown_medium_is_named():
    with pytest.raises(ValueError, match="medium 'lava' is unknown; choose one of"):
        paint_medium("lava", Raster(5, 5, 1.0), np.random.default_rng(0))
