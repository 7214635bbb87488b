"""Moving pixels between two grids: by a homography, or by a coarse grid of exact points where a lens bends it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.settings import TraySettings

FloatArray = NDArray[np.float64]
AnyArray = TypeVar("AnyArray", NDArray[np.uint8], NDArray[np.uint16], NDArray[np.float32])

_NOWHERE = -1e6  # far outside any picture: such pixels come out as 0
_TILE_ROWS = 256  # rows remapped at a time, so that the coordinate maps stay small and in the cache


@dataclass(frozen=True)
class Mapping:
    """Where each pixel of the wanted grid lies in the grid at hand.

    Attributes
    ----------
    points : callable
        (n, 2) → (n, 2), exact; NaN for nowhere.
    matrix : (3, 3) ndarray or None
        The same as a homography, where it is one.
    """

    points: Callable[[FloatArray], FloatArray]
    matrix: FloatArray | None


@dataclass(frozen=True)
class Window:
    """A part of a picture, averaged down by a whole factor."""

    pixels: NDArray[np.uint8]
    left: int
    top: int
    factor: int

    def after(self, mapping: Mapping) -> Mapping:
        """The mapping into this window instead of the whole picture."""
        f, left, top = self.factor, self.left, self.top
        if f == 1 and left == 0 and top == 0:
            return mapping
        shift = np.array([(0.5 - left) / f - 0.5, (0.5 - top) / f - 0.5])
        matrix = mapping.matrix
        if matrix is not None:
            matrix = np.array([[1 / f, 0, shift[0]], [0, 1 / f, shift[1]], [0, 0, 1.0]]) @ matrix
        return Mapping(lambda px: mapping.points(px) / f + shift, matrix)


def shrink_window(
    rgb: NDArray[np.uint8], mapping: Mapping, width: int, height: int, *, finer: float, settings: TraySettings
) -> Window:
    """Cut out the part that the wanted grid needs and average it down if it is finer by `finer`.

    Whole factors are averaged by area; bilinear sampling reaches two pixels and so covers what is left (below 2). From
    `shrink_from` on, a 1-2-1 blur takes off what would alias.
    """
    if finer < settings.shrink_from:
        return Window(rgb, 0, 0, 1)
    rim = mapping.points(_corners_and_middles(width, height))
    if not np.isfinite(rim).all():
        return Window(rgb, 0, 0, 1)
    factor = max(1, int(finer))
    # The rim may bulge by the lens term between the points looked at: a few per cent on either side covers it.
    slack = 0.05 * np.ptp(rim, axis=0) + 2 * factor
    left, top = (np.clip(np.floor((rim.min(axis=0) - slack) / factor), 0, None) * factor).astype(int)
    right, bottom = np.minimum(np.ceil(rim.max(axis=0) + slack).astype(int), (rgb.shape[1], rgb.shape[0]))
    columns, rows = (right - left) // factor, (bottom - top) // factor
    if columns < 1 or rows < 1:
        return Window(rgb, 0, 0, 1)
    part = rgb[top : top + rows * factor, left : left + columns * factor]
    if factor > 1:
        part = np.asarray(cv2.resize(part, (int(columns), int(rows)), interpolation=cv2.INTER_AREA), np.uint8)
    if finer / factor >= settings.shrink_from:
        part = np.asarray(cv2.GaussianBlur(part, (3, 3), 0), np.uint8)
    return Window(part, int(left), int(top), factor)


def shrunk(picture: NDArray[np.uint8], width: int, height: int) -> NDArray[np.uint8]:
    """A picture of one or more channels brought to another, mostly smaller size; both cover the same ground.

    Whole factors are averaged by area and what is left, below 2, is sampled bilinearly, which reaches two pixels: an
    eighth of the cost of averaging by area for both.
    """
    full_height, full_width = picture.shape[:2]
    factor = max(1, min(full_height // height, full_width // width))
    if factor > 1:
        rows, cols = full_height // factor, full_width // factor
        part = picture[: rows * factor, : cols * factor]
        picture = np.asarray(cv2.resize(part, (cols, rows), interpolation=cv2.INTER_AREA), np.uint8)
    if picture.shape[:2] == (height, width):
        return picture
    if full_width % factor == 0 and full_height % factor == 0:
        return np.asarray(cv2.resize(picture, (width, height), interpolation=cv2.INTER_LINEAR), np.uint8)
    # Pixels over were dropped at the far sides: a plain resize would stretch the rest over their ground.
    right, down = full_width / (factor * width), full_height / (factor * height)
    places = np.array([[right, 0, right / 2 - 0.5], [0, down, down / 2 - 0.5]])
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    warped = cv2.warpAffine(picture, places, (width, height), flags=how, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(warped, np.uint8)


def remap_by_grid(
    array: AnyArray, mapping: Mapping, width: int, height: int, *, interpolation: int, step_px: int
) -> AnyArray:
    """Resample onto a grid of `width` × `height`; 0 outside. Same dtype.

    With a lens term the places are computed exactly every `step_px` pixels and interpolated bilinearly between: a lens
    term of 0.1 bends by less than 0.03 px over 16 px of a 3-megapixel picture.
    """
    if mapping.matrix is not None:
        flags = interpolation | cv2.WARP_INVERSE_MAP
        warped = cv2.warpPerspective(array, mapping.matrix, (width, height), flags=flags)
        return np.asarray(warped, array.dtype)
    out = np.zeros((height, width, *array.shape[2:]), array.dtype)
    coarse = _coarse_map(mapping, width, height, step_px)
    rows_per_tile = max(1, _TILE_ROWS // step_px)
    for first in range(0, coarse.shape[0] - 2, rows_per_tile):
        part = coarse[first : first + rows_per_tile + 2]
        places = _spread(part, width, step_px)
        top = first * step_px
        places = places[: height - top]
        out[top : top + len(places)] = _sampled(array, places, part[..., 1], interpolation)
    return out


def _sampled(
    array: AnyArray, places: NDArray[np.float32], y: NDArray[np.float32], interpolation: int
) -> cv2.typing.MatLike:
    """`array` at `places`, whose y lie within the range of `y`; `places` may be changed."""
    if array.ndim != 3 or array.shape[2] != 3 or array.dtype != np.uint8:
        return cv2.remap(array, places, None, interpolation)  # type: ignore[call-overload, no-any-return]
    # OpenCV samples four channels in less than half the time of three. Only the rows that are needed get a fourth; what
    # is taken off y is even: fractions stay as they are, and halves are rounded to the same side.
    reach = 2
    top, bottom = np.clip([np.floor(y.min()) - reach, np.ceil(y.max()) + reach + 1], 0, array.shape[0]).astype(int)
    top -= top % 2
    if top >= bottom:
        return np.zeros((*places.shape[:2], 3), np.uint8)
    four = cv2.cvtColor(array[top:bottom], cv2.COLOR_RGB2RGBA)
    places[..., 1] -= np.float32(top)
    return cv2.cvtColor(cv2.remap(four, places, None, interpolation), cv2.COLOR_RGBA2RGB)  # type: ignore[call-overload]


def _coarse_map(mapping: Mapping, width: int, height: int, step_px: int) -> NDArray[np.float32]:
    """(rows, columns, 2) exact places at block middles, one block more on each side."""
    columns, rows = -(-width // step_px), -(-height // step_px)
    x = (np.arange(-1, columns + 1) + 0.5) * step_px - 0.5
    y = (np.arange(-1, rows + 1) + 0.5) * step_px - 0.5
    grid = np.stack(np.meshgrid(x, y), axis=-1)
    places = mapping.points(grid.reshape(-1, 2)).reshape(grid.shape)
    return np.nan_to_num(places, nan=_NOWHERE).astype(np.float32)


def _spread(coarse: NDArray[np.float32], width: int, step_px: int) -> NDArray[np.float32]:
    """Bilinear places of every pixel of the inner blocks; OpenCV's resize puts samples at block middles too."""
    rows, columns = coarse.shape[:2]
    fine = cv2.resize(coarse, (columns * step_px, rows * step_px), interpolation=cv2.INTER_LINEAR)
    return np.asarray(fine, np.float32)[step_px:-step_px, step_px : step_px + width]


def _corners_and_middles(width: int, height: int) -> FloatArray:
    x, y = np.meshgrid([0, (width - 1) / 2, width - 1], [0, (height - 1) / 2, height - 1])
    return np.stack([x.ravel(), y.ravel()], axis=1).astype(np.float64)
