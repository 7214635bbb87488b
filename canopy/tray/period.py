"""The period of a grid in a straightened picture: from its spectrum, or tried at a layout's pitch."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopy.records import Layout
from canopy.tray.straight import Straight

FloatImage = NDArray[np.float32]

_FINER = 8  # spectra are sampled this much more finely than the number of periods would need
_HARMONICS = 3
_ASIDE = 0.2  # of a shift: how far off correlations are taken for comparison


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


def repeats(straight: Straight, layout: Layout, *, within: float) -> list[tuple[float, float]]:
    """How clearly a straightened tray repeats one pitch on, and a half or a third of a pitch on.

    A layout of every second cell of the true one repeats at its half pitch as clearly as at its pitch. Clearly means by
    how much the correlation with the picture itself stands out from that a fifth nearer and farther: over a short way,
    everything is like itself.

    Parameters
    ----------
    straight : Straight
    layout : Layout
    within : float
        The best of the shifts up to this share longer or shorter than the pitch counts.

    Returns
    -------
    list of (whole, part)
        Along rows, then along columns, −2..2; `part` is the larger of the half's and the third's.
    """
    first, last = (np.rint(straight.to_px(layout.outline_mm[k])).astype(int) for k in (0, 2))
    tray = straight.pixels[max(0, first[1]) : last[1], max(0, first[0]) : last[0]]
    found = []
    for pixels, pitch in ((tray, layout.pitch_x_mm), (tray.transpose(1, 0, 2), layout.pitch_y_mm)):
        px = pitch / straight.step_mm
        shifts = range(round(px * (1 - within)), round(px * (1 + within)) + 1)
        whole = max(_stands_out(pixels, shift) for shift in shifts)
        found.append((whole, max(_stands_out(pixels, round(px / n)) for n in (2, 3))))
    return found


def _stands_out(pixels: FloatImage, shift: int) -> float:
    """By how much the correlation at a shift is above those a fifth shorter and longer."""
    aside = max(1, round(_ASIDE * shift))
    return _alike(pixels, shift) - max(_alike(pixels, shift - aside), _alike(pixels, shift + aside))


def _alike(pixels: FloatImage, shift: int) -> float:
    """Correlation of a picture, evened out, with itself moved along its rows; −1..1, 0 where nothing is left."""
    one, two = pixels[:, shift:], pixels[:, : pixels.shape[1] - shift]
    power = float(np.vdot(one, one)) * float(np.vdot(two, two))
    return float(np.vdot(one, two)) / power**0.5 if power > 0 else 0.0
