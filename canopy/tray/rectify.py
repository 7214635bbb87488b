"""The tray seen from straight above: the photo resampled onto an even grid of millimetres, and the way back."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.photo.image import Photo
from canopy.records import Layout
from canopy.settings import TraySettings
from canopy.tray.frame import Frame
from canopy.tray.resample import AnyArray, Mapping, remap_by_grid, shrink_window

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Rectified:
    """The tray and a margin around it (for leaves over the rim) on an even millimetre grid of the rim plane.

    Attributes
    ----------
    rgb : (M, N, 3) uint8 ndarray
        sRGB; black where the photo does not reach.
    inside : (M, N) bool ndarray
        True where the photo reaches.
    mm_per_px : float
    x0_mm, y0_mm : float
        Tray mm of the centre of pixel [0, 0]; pixel [i, j] lies at (x0 + j·mm_per_px, y0 + i·mm_per_px).
    """

    rgb: NDArray[np.uint8]
    inside: NDArray[np.bool_]
    mm_per_px: float
    x0_mm: float
    y0_mm: float

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Tray mm → (column, row) pixel coordinates of this grid; (n, 2) → (n, 2)."""
        return (points_mm - (self.x0_mm, self.y0_mm)) / self.mm_per_px

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """(column, row) pixel coordinates of this grid → tray mm; (n, 2) → (n, 2)."""
        return points_px * self.mm_per_px + (self.x0_mm, self.y0_mm)

    def tray_part(self, layout: Layout) -> tuple[slice, slice]:
        """Rows and columns inside the tray's outline."""
        ends = np.round(self.to_px(layout.outline_mm[[0, 2]])).astype(int)
        (x0, y0), (x1, y1) = np.clip(ends, 0, self.rgb.shape[1::-1])
        return slice(int(y0), int(y1)), slice(int(x0), int(x1))

    @property
    def mm_from_px(self) -> FloatArray:
        """(3, 3) matrix of `to_mm`."""
        return np.array([[self.mm_per_px, 0, self.x0_mm], [0, self.mm_per_px, self.y0_mm], [0, 0, 1.0]])


def rectify(
    photo: Photo,
    frame: Frame,
    layout: Layout,
    *,
    mm_per_px: float,
    margin_mm: float,
    settings: TraySettings | None = None,
) -> Rectified:
    """Resample the tray and a margin around its outline, once, bilinearly.

    A photo that is finer than the grid is averaged down first, so that nothing aliases.

    Parameters
    ----------
    photo : Photo
    frame : Frame
        Of the same decoded photo.
    layout : Layout
        Gives the outline.
    mm_per_px : float
        Of the result.
    margin_mm : float
        Kept around the outline on all sides.
    settings : TraySettings, optional
        `shrink_from` and `map_step_px`.
    """
    settings = settings or TraySettings()
    width = math.ceil((layout.outline_width_mm + 2 * margin_mm) / mm_per_px)
    height = math.ceil((layout.outline_height_mm + 2 * margin_mm) / mm_per_px)
    x0 = (layout.outline_width_mm - (width - 1) * mm_per_px) / 2
    y0 = (layout.outline_height_mm - (height - 1) * mm_per_px) / 2
    empty = Rectified(np.empty((0, 0, 3), np.uint8), np.empty((0, 0), np.bool_), mm_per_px, x0, y0)
    matrix = None if frame.k1 else frame.px_from_mm @ empty.mm_from_px
    to_photo = Mapping(lambda px: frame.to_px(empty.to_mm(px)), matrix)
    window = shrink_window(photo.rgb, to_photo, width, height, finer=mm_per_px / frame.mm_per_px, settings=settings)
    rgb = remap_by_grid(
        window.pixels,
        window.after(to_photo),
        width,
        height,
        interpolation=cv2.INTER_LINEAR,
        step_px=settings.map_step_px,
    )
    return Rectified(rgb, _inside(frame, empty, width, height), mm_per_px, x0, y0)


def to_photo_grid(
    array: AnyArray,
    rectified: Rectified,
    frame: Frame,
    *,
    width_px: int,
    height_px: int,
    reduction: int,
    interpolation: int = cv2.INTER_NEAREST,
    settings: TraySettings | None = None,
) -> AnyArray:
    """Carry a raster of the rectified grid back onto the photo's own full-size upright pixels.

    Parameters
    ----------
    array : (M, N) or (M, N, 3) ndarray of uint8, uint16 or float32
        On the grid of `rectified`.
    rectified : Rectified
    frame : Frame
    width_px, height_px : int
        Full size of the upright photo.
    reduction : int
        Of the decoded photo that `frame` belongs to.
    interpolation : int
        OpenCV code: `cv2.INTER_NEAREST` for labels, `cv2.INTER_LINEAR` for shares.
    settings : TraySettings, optional
        `map_step_px`.

    Returns
    -------
    ndarray
        (height_px, width_px[, 3]), same dtype; 0 where the grid does not reach.
    """
    settings = settings or TraySettings()
    shift = (0.5 / reduction) - 0.5
    decoded_from_full = np.array([[1 / reduction, 0, shift], [0, 1 / reduction, shift], [0, 0, 1.0]])
    back = np.linalg.inv(rectified.mm_from_px) @ np.linalg.inv(frame.px_from_mm) @ decoded_from_full
    mapping = Mapping(
        lambda px: rectified.to_px(frame.to_mm(px / reduction + shift)), None if frame.k1 else np.asarray(back)
    )
    return remap_by_grid(array, mapping, width_px, height_px, interpolation=interpolation, step_px=settings.map_step_px)


def _inside(frame: Frame, grid: Rectified, width: int, height: int) -> NDArray[np.bool_]:
    """Pixels of the grid that the photo covers, by its border drawn on the grid (one pixel on the safe side)."""
    rim_px = _rectangle_rim(width - 1, height - 1, points=64)
    seen = frame.to_px(grid.to_mm(rim_px))
    if ((seen >= 0) & (seen <= (frame.width_px - 1, frame.height_px - 1))).all():
        return np.ones((height, width), np.bool_)
    border = grid.to_px(frame.to_mm(_rectangle_rim(frame.width_px - 1, frame.height_px - 1, points=256)))
    border = border[np.isfinite(border).all(axis=1)]
    # fillPoly counts in whole pixels unless told that the last bits are fractions; far points would overflow.
    fraction_bits = 4
    polygon = np.rint(np.clip(border + 1, -1e6, 1e6) * 2**fraction_bits).astype(np.int32)
    covered = np.zeros((height + 2, width + 2), np.uint8)  # one pixel more all round, so that its rim is eroded too
    cv2.fillPoly(covered, [polygon], (1,), lineType=cv2.LINE_8, shift=fraction_bits)
    eroded = cv2.erode(covered, np.ones((3, 3), np.uint8))
    return np.asarray(eroded[1:-1, 1:-1]).astype(np.bool_)


def _rectangle_rim(right: float, bottom: float, *, points: int) -> FloatArray:
    """Points along the rim of (0, 0)..(right, bottom), `points` a side, in order."""
    share = np.linspace(0, 1, points, endpoint=False)
    nil = np.zeros_like(share)
    unit = np.concatenate(
        [np.stack(side, axis=1) for side in ((share, nil), (nil + 1, share), (1 - share, nil + 1), (nil, 1 - share))]
    )
    return np.asarray(unit * (right, bottom))
