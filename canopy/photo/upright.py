"""EXIF orientation: the eight ways a picture can lie in its file."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

SWAPPING = frozenset({5, 6, 7, 8})


def upright(rgb: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Turn stored pixels the way the EXIF orientation says (EXIF 2.32, tag 0x0112; TIFF 6.0).

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
    orientation : int
        1..8; anything else is taken for 1.

    Returns
    -------
    (M, N, 3) or (N, M, 3) uint8 ndarray
        Contiguous; the same array for 1.
    """
    if orientation == 2:
        return _array(cv2.flip(rgb, 1))
    if orientation == 3:
        return _array(cv2.rotate(rgb, cv2.ROTATE_180))
    if orientation == 4:
        return _array(cv2.flip(rgb, 0))
    if orientation == 5:
        return _array(cv2.transpose(rgb))
    if orientation == 6:
        return _array(cv2.rotate(rgb, cv2.ROTATE_90_CLOCKWISE))
    if orientation == 7:
        return _array(cv2.flip(cv2.transpose(rgb), -1))
    if orientation == 8:
        return _array(cv2.rotate(rgb, cv2.ROTATE_90_COUNTERCLOCKWISE))
    return rgb


def _array(rgb: object) -> NDArray[np.uint8]:
    return np.asarray(rgb, np.uint8)
