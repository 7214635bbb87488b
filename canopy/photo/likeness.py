"""A small fingerprint by which copies of one picture are known, whatever their size, quality and format."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_SIDE_PX = 64
_WAVES = 16

BITS = _WAVES**2


def picture_fingerprint(rgb: NDArray[np.uint8]) -> int:
    """`BITS` bits: which of a small grey copy's slow waves lie above their median (a discrete cosine transform).

    Pictures that are copies of one differ in a few bits, unlike pictures in about half. Turned pictures are unlike.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray

    Notes
    -----
    The common "pHash" of perceptual hashing (Zauner 2010, thesis, Hagenberg), with 16 × 16 waves instead of 8 × 8.
    """
    # Thinned before it is averaged: a twelve-megapixel picture is not read as a whole for 64 × 64 means.
    step = max(1, min(rgb.shape[:2]) // (4 * _SIDE_PX))
    small = cv2.resize(np.ascontiguousarray(rgb[::step, ::step]), (_SIDE_PX, _SIDE_PX), interpolation=cv2.INTER_AREA)
    waves = cv2.dct(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY).astype(np.float32))[1 : _WAVES + 1, 1 : _WAVES + 1]
    return int.from_bytes(np.packbits(waves > np.median(waves)).tobytes(), "big")


def differing_bits(one: int, other: int) -> int:
    """In how many of `BITS` bits two fingerprints differ."""
    return (one ^ other).bit_count()
