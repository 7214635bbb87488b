"""A tray straightened by a first mapping and evened out, so that only the shapes of its cells are left."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.records import Layout
from canopy.settings.unaided import UnaidedSettings
from canopy.tray.frame import apply_homography

FloatArray = NDArray[np.float64]
FloatImage = NDArray[np.float32]

_MARGIN = 1.5  # pitches of room around the outline for patches and their search
_BLUR_PITCH, _SPREAD_PITCH = 0.6, 1.2  # light and contrast are evened out over these lengths
_MOST = np.float32(0.7)  # stronger deviations count no more: bright leaves must not outshout dark walls
_LEAST_POWER = 0.05  # contrast below this (square roots of code values) is noise


@dataclass(frozen=True)
class Straight:
    """The straightened picture: pixel = (mm − origin) / step.

    Attributes
    ----------
    pixels : (m, n, 3) float32 ndarray
        Deviations from the neighbourhood over their usual size, at most 0.7; 0 beyond the tray.
    origin_mm : (2,) ndarray
        Tray mm of the centre of pixel [0, 0].
    step_mm : float
        Millimetres per pixel.
    """

    pixels: FloatImage
    origin_mm: FloatArray
    step_mm: float

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Tray mm → (column, row); (n, 2) → (n, 2)."""
        return np.asarray((points_mm - self.origin_mm) / self.step_mm)


def straighten(
    rgb: NDArray[np.uint8], px_from_mm: FloatArray, layout: Layout, *, settings: UnaidedSettings
) -> Straight:
    """Resample a photo to few pixels per pitch on the tray's own axes, then even out light and contrast."""
    pitch = min(layout.pitch_x_mm, layout.pitch_y_mm)
    margin = _MARGIN * np.array([layout.pitch_x_mm, layout.pitch_y_mm])
    size_mm = layout.outline_mm[2] + 2 * margin
    step = max(pitch / settings.px_per_pitch, float(size_mm.max()) / settings.most_straight_px)
    width, height = (int(n) for n in np.ceil(size_mm / step))
    matrix = px_from_mm @ np.array([[step, 0, -margin[0]], [0, step, -margin[1]], [0, 0, 1.0]])
    small, into = _shrunk(rgb, matrix, width, height)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    warped = cv2.warpPerspective(small, into @ matrix, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    tray = np.zeros((height, width), np.float32)
    first, last = (np.rint(corner / step).astype(int) for corner in (margin, size_mm - margin))
    tray[first[1] : last[1], first[0] : last[0]] = 1
    return Straight(_evened(np.asarray(warped, np.uint8), tray, pitch / step), -margin, step)


def _evened(rgb: NDArray[np.uint8], tray: FloatImage, pitch_px: float) -> FloatImage:
    """Take off slow changes of light and of contrast; 0 beyond the tray, so that its surroundings shift no cell.

    Means over the neighbourhood count the tray's own pixels only (normalised convolution, Knutsson & Westin 1993).
    """
    tone = np.sqrt(rgb.astype(np.float32)) * tray[..., None]
    near, wide = (np.maximum(cv2.GaussianBlur(tray, (0, 0), k * pitch_px), 1e-3) for k in (_BLUR_PITCH, _SPREAD_PITCH))
    shape = tone - cv2.GaussianBlur(tone, (0, 0), _BLUR_PITCH * pitch_px) / near[..., None]
    shape *= tray[..., None]
    power = cv2.GaussianBlur(np.square(shape).sum(axis=2), (0, 0), _SPREAD_PITCH * pitch_px) / wide
    usual = np.sqrt(power + np.float32(_LEAST_POWER))[..., None]
    return np.asarray(np.clip(shape / usual, -_MOST, _MOST), np.float32)


def _shrunk(
    rgb: NDArray[np.uint8], matrix: FloatArray, width: int, height: int
) -> tuple[NDArray[np.uint8], FloatArray]:
    """Average a photo down by a whole factor when it is finer than the straightened picture, so that nothing aliases.

    Returns the smaller photo and the mapping from pixels of the photo to its pixels.
    """
    seen = apply_homography(matrix, np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64))
    sides = np.hypot(*(np.roll(seen, -1, axis=0) - seen).T)
    finer = float(sides.mean()) / ((width + height) / 2)
    if not finer >= 2:  # NaN as well, where a corner lies behind the camera
        return rgb, np.eye(3)
    factor = int(finer)
    left, top = (np.clip(np.floor(seen.min(axis=0) / factor), 0, None) * factor).astype(int)
    right, bottom = np.minimum(np.ceil(seen.max(axis=0)).astype(int) + factor, (rgb.shape[1], rgb.shape[0]))
    columns, rows = int(right - left) // factor, int(bottom - top) // factor
    if columns < 1 or rows < 1:
        return rgb, np.eye(3)
    part = rgb[top : top + rows * factor, left : left + columns * factor]
    small = cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA)
    shift_x, shift_y = ((0.5 - start) / factor - 0.5 for start in (float(left), float(top)))
    return np.asarray(small, np.uint8), np.array([[1 / factor, 0, shift_x], [0, 1 / factor, shift_y], [0, 0, 1.0]])
