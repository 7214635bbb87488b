"""The photo with what was found drawn on it: canopy outlines, cells, their names and decisions, a scale bar."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage

from canopy.outputs.legend import add_strip
from canopy.outputs.marks import (
    Picture,
    draw_lines,
    draw_plate_text,
    draw_sign,
    draw_sign_letter,
    font,
    pen,
)
from canopy.pictures.palette import BLACK, PICKED, WHITE, YELLOW, look_of
from canopy.words import PLAIN, Words

if TYPE_CHECKING:
    from canopy.analyse import Worked
    from canopy.records import Layout
    from canopy.tray.frame import Frame

FloatArray = NDArray[np.float64]

# Proportions of the drawing (of the cell, or of the picture's long side); a matter of looks, not of measurement.
_MARGIN = 0.06
_SIGN_RADIUS, _SIGN_RADIUS_LOW, _SIGN_RADIUS_MAX = 0.105, 0.0055, 0.019
_NAME_SIZE = 0.15
_NAME_MIN_PX = 13.0
_NAME_CELL_PX = 90.0
_LEAF_LINE = 1 / 1000
_UPSCALE_MAX = 3.0
_EDGE_STEPS = 8


@dataclass(frozen=True)
class View:
    """The part of the photo that is shown: decoded pixel p is drawn at (p − corner_px)·scale.

    Attributes
    ----------
    corner_px : tuple of int
        Left and top of the part shown, decoded-image pixels.
    size_px : tuple of int
        Width and height of the part shown, decoded-image pixels.
    scale : float
    """

    corner_px: tuple[int, int]
    size_px: tuple[int, int]
    scale: float

    def place(self, points_px: FloatArray) -> FloatArray:
        """Decoded-image pixels → picture pixels; (n, 2) → (n, 2). Pixel centres are at whole numbers in both."""
        return (points_px - self.corner_px + 0.5) * self.scale - 0.5


def draw_overlay(worked: Worked, layout: Layout, *, long_side_px: int, words: Words = PLAIN) -> Picture:
    """Draw what was found on the photo, cut to the tray and a margin around it.

    Parameters
    ----------
    worked : Worked
        One photo's steps, from `canopy.analyse.work_through`.
    layout : Layout
    long_side_px : int
        Long side of the picture without the strip below it.
    words : Words
        Language of the strip.

    Returns
    -------
    (M, N, 3) uint8 ndarray
        sRGB. Below the photo a strip with tray, time, scale bar and the meaning of the signs.
    """
    view = _view_of_tray(worked.frame, layout, long_side_px=long_side_px)
    picture = _shown_part(worked.photo.rgb, view)
    to_picture = _Mapper(worked.frame, view)
    _draw_canopy(picture, worked, to_picture)
    cell_px = float(np.sqrt(layout.pitch_x_mm * layout.pitch_y_mm)) / worked.frame.mm_per_px * view.scale
    cells = worked.reading.cells
    _draw_grid(picture, cells, layout, to_picture, cell_px=cell_px)
    picture = _draw_signs(picture, cells, layout, to_picture, cell_px=cell_px)
    return add_strip(picture, worked.reading, mm_per_px=worked.frame.mm_per_px / view.scale, words=words)


def jpeg_bytes(picture: Picture, *, quality: int) -> bytes:
    """Encode an sRGB picture as JPEG."""
    # OpenCV takes blue first.
    done, data = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise RuntimeError("OpenCV could not encode a JPEG")
    return bytes(data.tobytes())


def lighter(jpeg: bytes, *, max_bytes: int, quality: int, least_long_side_px: int) -> bytes:
    """An encoded picture made small enough, as WebP; as it came where it is small enough already.

    Parameters
    ----------
    jpeg : bytes
        In any format that OpenCV reads.
    max_bytes : int
    quality : int
        Of WebP, 1..100.
    least_long_side_px : int
        It is shrunk no further, whatever it takes then.
    """
    if len(jpeg) <= max_bytes:
        return jpeg
    picture = np.asarray(cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR_RGB), np.uint8)
    # WebP takes about half of a JPEG's bytes, shrunk pictures somewhat more a pixel: one round mostly does.
    start = max(picture.shape[:2]) * min(1.0, (1.6 * max_bytes / len(jpeg)) ** 0.5)
    long_side = max(least_long_side_px, round(start))
    while True:
        data = _webp(shrink(picture, long_side_px=long_side), quality=quality)
        if len(data) <= max_bytes or long_side <= least_long_side_px:
            return data
        # Bytes go about with the area; a little less, so that one or two rounds do.
        long_side = max(least_long_side_px, round(long_side * min(0.95, 0.97 * (max_bytes / len(data)) ** 0.5)))


def _webp(picture: Picture, *, quality: int) -> bytes:
    """Encode an sRGB picture as WebP, with less effort than by default: half the time for 4 % more bytes."""
    data = io.BytesIO()
    Image.fromarray(picture).save(data, "webp", quality=quality, method=2)
    return data.getvalue()


def shrink(picture: Picture, *, long_side_px: int) -> Picture:
    """The picture with its long side at most `long_side_px`."""
    scale = long_side_px / max(picture.shape[:2])
    if scale >= 1:
        return picture
    size = (max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


@dataclass(frozen=True)
class _Mapper:
    """Tray millimetres → picture pixels."""

    frame: Frame
    view: View

    def __call__(self, points_mm: FloatArray) -> FloatArray:
        return self.view.place(self.frame.to_px(np.asarray(points_mm, dtype=np.float64)))


def _view_of_tray(frame: Frame, layout: Layout, *, long_side_px: int) -> View:
    outline = frame.to_px(_along_edges(layout.outline_mm))
    low, high = outline.min(axis=0), outline.max(axis=0)
    margin = _MARGIN * float((high - low).max())
    limit = np.array([frame.width_px, frame.height_px])
    first = np.clip(np.floor(low - margin), 0, limit - 1).astype(int)
    last = np.clip(np.ceil(high + margin), first + 1, limit).astype(int)
    width, height = (int(n) for n in last - first)
    scale = min(long_side_px / max(width, height), _UPSCALE_MAX)
    return View((int(first[0]), int(first[1])), (width, height), scale)


def _shown_part(rgb: Picture, view: View) -> Picture:
    (x, y), (width, height) = view.corner_px, view.size_px
    part = rgb[y : y + height, x : x + width]
    size = (max(1, round(width * view.scale)), max(1, round(height * view.scale)))
    way = cv2.INTER_AREA if view.scale < 1 else cv2.INTER_CUBIC
    return np.ascontiguousarray(cv2.resize(part, size, interpolation=way), dtype=np.uint8)


def _draw_canopy(picture: Picture, worked: Worked, to_picture: _Mapper) -> None:
    """Outline each plant."""
    outlines = [to_picture(line) for line in plant_outlines_mm(worked)]
    width = max(1, round(_LEAF_LINE * max(picture.shape[:2])))
    draw_lines(picture, outlines, colour=BLACK, width_px=width + 2, closed=True)
    draw_lines(picture, outlines, colour=YELLOW, width_px=width, closed=True)


def plant_outlines_mm(worked: Worked) -> list[FloatArray]:
    """Outlines of all plants where half of a pixel is plant, each (n, 2) tray mm of the rim plane."""
    outlines: list[FloatArray] = []
    plant = worked.segmentation.cover >= 0.5
    for number, place in enumerate(ndimage.find_objects(worked.segmentation.owner), start=1):
        if place is None:
            continue
        mine = ((worked.segmentation.owner[place] == number) & plant[place]).astype(np.uint8)
        found, _ = cv2.findContours(np.pad(mine, 1), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        corner = (place[1].start - 1, place[0].start - 1)
        outlines += [worked.rectified.to_mm(line[:, 0].astype(np.float64) + corner) for line in found]
    return outlines


def _draw_grid(picture: Picture, cells: pd.DataFrame, layout: Layout, to_picture: _Mapper, *, cell_px: float) -> None:
    """Draw the tray's outline, every cell thinly, and the cells to pick boldly in the colour of their decision."""
    thin = max(1, round(cell_px / 110))
    boxes = [to_picture(_along_edges(box)) for box in cell_corners_mm(layout)]
    draw_lines(picture, boxes, colour=WHITE, width_px=thin, closed=True)
    draw_lines(picture, [to_picture(_along_edges(layout.outline_mm))], colour=WHITE, width_px=2 * thin, closed=True)
    for box, decision in zip(
        (to_picture(_along_edges(box)) for box in cell_corners_mm(layout, share=0.94)), cells["decision"], strict=True
    ):
        look = look_of(decision)
        if look.decision in PICKED:
            bold = max(2, round(cell_px / 26))
            draw_lines(picture, [box], colour=BLACK, width_px=bold + 2, closed=True)
            draw_lines(picture, [box], colour=look.fill, width_px=bold, closed=True)


def _draw_signs(
    picture: Picture, cells: pd.DataFrame, layout: Layout, to_picture: _Mapper, *, cell_px: float
) -> Picture:
    """Draw shape and letter of each decision at the upper left of its cell, as seen, and the cell's name beside it."""
    long_side = max(picture.shape[:2])
    radius = float(np.clip(_SIGN_RADIUS * cell_px, _SIGN_RADIUS_LOW * long_side, _SIGN_RADIUS_MAX * long_side))
    # Signs whose size is capped still stand in the corner.
    inset = cell_px / 2 - 1.35 * radius
    places = [(float(x) - inset, float(y) - inset) for x, y in to_picture(layout.centres_mm())]
    looks = [look_of(decision) for decision in cells["decision"]]
    for look, place in zip(looks, places, strict=True):
        draw_sign(picture, look, centre=place, radius_px=radius)
    image, draw = pen(picture)
    for look, place in zip(looks, places, strict=True):
        draw_sign_letter(draw, look, centre=place, radius_px=radius)
    size = _NAME_SIZE / _SIGN_RADIUS * radius
    if size >= _NAME_MIN_PX and cell_px >= _NAME_CELL_PX:
        for name, look, (x, y) in zip(cells["cell"], looks, places, strict=True):
            beside = x + (1.6 * radius if look.decision else -radius)
            draw_plate_text(draw, name, left_middle=(beside, y), size_px=size)
    else:
        _write_names_at_rim(draw, layout, to_picture, cell_px=cell_px)
    return np.array(image, dtype=np.uint8)


def _write_names_at_rim(draw: ImageDraw.ImageDraw, layout: Layout, to_picture: _Mapper, *, cell_px: float) -> None:
    """Where cells are too small for names: row letters and column numbers along the rim."""
    centres = layout.centres_mm().reshape(layout.rows, layout.columns, 2)
    size = max(_NAME_MIN_PX, 0.4 * cell_px)
    out_mm = 0.5 * size * to_picture.frame.mm_per_px / to_picture.view.scale
    for names, places, away in (
        ([name.rstrip("0123456789") for name in layout.names()[:: layout.columns]], centres[:, 0], (-1.0, 0.0)),
        ([str(n + 1) for n in range(layout.columns)], centres[0], (0.0, -1.0)),
    ):
        reach = np.array([layout.pitch_x_mm / 2 + out_mm, layout.pitch_y_mm / 2 + out_mm]) * np.array(away)
        for name, place in zip(names, to_picture(places + reach), strict=True):
            half = font(size).getlength(name) / 2
            draw_plate_text(draw, name, left_middle=(float(place[0]) - half, float(place[1])), size_px=size)


def cell_corners_mm(layout: Layout, *, share: float = 1.0) -> FloatArray:
    """(cells, 4, 2) corners of every cell, mm, shrunk about its centre to `share` of the pitch."""
    half = share * np.array([layout.pitch_x_mm, layout.pitch_y_mm]) / 2
    return layout.centres_mm()[:, None, :] + np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half


def _along_edges(corners: FloatArray) -> FloatArray:
    """Closed outline with points between the corners, so that the lens term bends it as it bends the photo."""
    steps = np.linspace(0, 1, _EDGE_STEPS, endpoint=False)[:, None]
    following = np.roll(corners, -1, axis=0)
    return np.concatenate([a + (b - a) * steps for a, b in zip(corners, following, strict=True)])
