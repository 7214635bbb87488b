"""Noise keeps its size in millimetres, its strength, and fades when it is finer than a pixel."""

from __future__ import annotations

import numpy as np
import pytest

from canopy.synthetic.noise import Raster, fractal_noise, grains, shading, smooth_noise, step

RASTER = Raster(300, 420, 0.5)


def test_smooth_noise_has_unit_strength_and_fades_below_a_pixel():
    rng = np.random.default_rng(1)
    coarse = smooth_noise(RASTER, grain_mm=4.0, rng=rng)
    fine = smooth_noise(RASTER, grain_mm=0.1, rng=rng)
    # 38 x 53 independent grains: the standard error of their spread is 1/sqrt(2 * 2014) = 1.6 %; 4 sigma and edges.
    assert coarse.std() == pytest.approx(1.0, abs=0.08)
    # The mean of 25 independent grains (0.5 mm pixel, 0.1 mm grains) has a fifth of their standard deviation.
    assert fine.std() == pytest.approx(0.2, rel=0.02)  # 126,000 values: standard error 0.2 %


def test_grain_size_is_in_millimetres_whatever_the_scale():
    def lag_mm(mm_per_px: float) -> float:
        field = smooth_noise(
            Raster(int(200 / mm_per_px), int(260 / mm_per_px), mm_per_px), grain_mm=8.0, rng=np.random.default_rng(5)
        )
        spectrum = np.abs(np.fft.rfft2(field - field.mean())) ** 2
        row = np.fft.irfft2(spectrum, s=field.shape)[0]
        return float(np.argmax(row < row[0] / 2)) * mm_per_px

    # Correlation falls to half at the same distance; both are read off to one coarse pixel (1 mm).
    assert lag_mm(0.25) == pytest.approx(lag_mm(1.0), abs=1.0)


def test_fractal_noise_is_centred_and_of_unit_strength():
    fields = [fractal_noise(RASTER, coarse_mm=10, fine_mm=1, rng=np.random.default_rng(s)) for s in range(8)]
    # 8 fields of 15 x 21 coarse grains = 2,520: standard error of the mean 2 %, of the spread 1.4 %; the linear
    # interpolation between octaves is only normalised on average, hence 15 %.
    assert np.mean(fields) == pytest.approx(0.0, abs=0.08)
    assert np.std(fields) == pytest.approx(1.0, abs=0.15)


def test_grains_number_and_borders():
    bed = grains(RASTER, size_mm=5, rng=np.random.default_rng(2), order=1)
    assert bed.label.min() == 1
    assert bed.label.max() == bed.count
    # 150 x 210 mm in squares of 5 mm.
    assert bed.count == 30 * 42
    picked = bed.pick(np.arange(bed.count, dtype=np.float32))
    np.testing.assert_array_equal(picked, bed.label - 1)


def test_grains_below_a_pixel_lose_contrast():
    # Size 0.25 mm on 0.5 mm pixels is painted at 2.5 px = 1.25 mm: (0.25 / 1.25)^2 by hand.
    assert grains(RASTER, size_mm=0.25, rng=np.random.default_rng(0)).fade == pytest.approx(0.04)


def test_shading_of_a_plane():
    # A plane rising 1 mm per mm towards the light (+x): 1 - s * 1 / sqrt(2); towards -x the same above 1. By hand.
    x = np.tile(np.arange(40, dtype=np.float32) * 0.5, (30, 1))
    inner = (slice(2, -2), slice(2, -2))
    np.testing.assert_allclose(shading(x, mm_per_px=0.5, azimuth=0.0, strength=0.8)[inner], 1 - 0.8 / 2**0.5, atol=1e-5)
    np.testing.assert_allclose(
        shading(-x, mm_per_px=0.5, azimuth=0.0, strength=0.8)[inner], 1 + 0.8 / 2**0.5, atol=1e-5
    )


def test_step_is_a_smooth_ramp():
    values = np.array([[-1.0, 0.9, 1.0, 1.1, 3.0]], np.float32)
    # Smoothstep 3t^2 - 2t^3 at t = 0, 0.25, 0.5, 0.75, 1, by hand.
    np.testing.assert_allclose(step(values, at=1.0, softness=0.4), [[0, 0.15625, 0.5, 0.84375, 1]], atol=1e-5)


@pytest.mark.parametrize("bad", [(0, 5, 1.0), (5, 0, 1.0), (5, 5, 0.0), (5, 5, float("nan"))])
def test_raster_refuses_nonsense(bad):
    with pytest.raises(ValueError, match="give at least one pixel and a scale above 0"):
        Raster(*bad)
