"""The period of a grid along one direction of a straightened picture, from its spectrum."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatImage = NDArray[np.float32]

_FINER = 8  # spectra are sampled this much more finely than the number of periods would need
_HARMONICS = 3


def period_px(pixels: FloatImage, *, expected_px: float, within: float) -> tuple[float, float]:
    """Distance after which a picture repeats along its rows.

    The power spectrum along the rows, summed over rows and channels, is added up at a frequency and its harmonics; the
    best frequency near the expected one wins.

    Parameters
    ----------
    pixels : (m, n, 3) float32 ndarray
        Evened out, so that its mean is about 0.
    expected_px : float
    within : float
        How far the period may differ, as a factor: 0.1 allows 10 % more or less.

    Returns
    -------
    period : float
        In pixels.
    strength : float
        Power at the best frequency over the median of all looked at; 1 where nothing repeats.
    """
    length = pixels.shape[1]
    taper = np.hanning(length + 2)[1:-1].astype(np.float32)
    size = 1 << int(np.ceil(np.log2(length * _FINER)))
    rows = (pixels * taper[None, :, None]).transpose(0, 2, 1).reshape(-1, length)
    power = np.square(np.abs(np.fft.rfft(rows, size, axis=1))).sum(axis=0)
    low, high = size / expected_px / (1 + within), size / expected_px * (1 + within)
    bins = np.linspace(low, high, max(16, int(4 * (high - low))))
    score = np.zeros(len(bins))
    for n in range(1, _HARMONICS + 1):
        score += np.interp(n * bins, np.arange(len(power)), power)
    best = int(np.argmax(score))
    return float(size / bins[best]), float(score[best] / max(float(np.median(score)), 1e-12))
