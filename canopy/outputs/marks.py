"""Small signs drawn on a picture: shapes with a letter, labels on a plate, a scale bar; all in place, RGB."""

from __future__ import annotations

import io
from functools import lru_cache
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from canopy.pictures.palette import BLACK, WHITE, Colour, Look

Picture = NDArray[np.uint8]

# Points of each shape around (0, 0) in units of its radius, grown so that all shapes cover about the same area.
CORNERS: dict[str, list[tuple[float, float]]] = {
    "square": [(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)],
    "diamond": [(0, -1.2), (1.2, 0), (0, 1.2), (-1.2, 0)],
    "triangle": [(0, -1.3), (1.3, 0.95), (-1.3, 0.95)],
}
_SUBPIXEL_BITS = 4


def draw_lines(
    picture: Picture, lines: list[NDArray[np.float64]], *, colour: Colour, width_px: int, closed: bool
) -> None:
    """Draw smooth lines, each an (n, 2) array of (x, y) in picture pixels."""
    scaled = [np.round(line * (1 << _SUBPIXEL_BITS)).astype(np.int32) for line in lines if len(line) > 1]
    cv2.polylines(picture, scaled, closed, colour, width_px, cv2.LINE_AA, _SUBPIXEL_BITS)


def draw_sign(picture: Picture, look: Look, *, centre: tuple[float, float], radius_px: float) -> None:
    """Draw the shape of a decision with a dark rim; the letter comes with `draw_texts`."""
    rim_px = max(1, round(radius_px / 7))
    if look.shape == "circle":
        middle = (round(centre[0] * 16), round(centre[1] * 16))
        cv2.circle(picture, middle, round(radius_px * 16), look.fill, -1, cv2.LINE_AA, _SUBPIXEL_BITS)
        cv2.circle(picture, middle, round(radius_px * 16), BLACK, rim_px, cv2.LINE_AA, _SUBPIXEL_BITS)
    elif look.shape == "cross":
        arm = 0.6 * radius_px
        arms = [np.array([(-arm, -arm), (arm, arm)]) + centre, np.array([(-arm, arm), (arm, -arm)]) + centre]
        draw_lines(picture, arms, colour=BLACK, width_px=3 * rim_px, closed=False)
        draw_lines(picture, arms, colour=WHITE, width_px=rim_px, closed=False)
    elif look.shape in CORNERS:
        corners = np.array(CORNERS[look.shape]) * radius_px + centre
        filled = np.round(corners * 16).astype(np.int32)
        cv2.fillPoly(picture, [filled], look.fill, cv2.LINE_AA, _SUBPIXEL_BITS)
        draw_lines(picture, [corners], colour=BLACK, width_px=rim_px, closed=True)


def draw_sign_letter(draw: ImageDraw.ImageDraw, look: Look, *, centre: tuple[float, float], radius_px: float) -> None:
    """Write the letter of a decision into its shape; a cross needs none."""
    if look.shape in ("cross", "none"):
        return
    drop = 0.2 * radius_px if look.shape == "triangle" else 0.0
    draw.text(
        (centre[0], centre[1] + drop), look.letter, font=font(1.35 * radius_px), fill=look.ink, anchor="mm",
        stroke_width=radius_px / 22, stroke_fill=look.ink,
    )  # fmt: skip


def draw_plate_text(draw: ImageDraw.ImageDraw, text: str, *, left_middle: tuple[float, float], size_px: float) -> None:
    """Write white text on a dark plate, so that it is read on leaves, foam and metal alike."""
    x, y = left_middle
    # One height of plate for all texts, whatever letters they hold.
    width, half, pad = font(size_px).getlength(text), 0.52 * size_px, 0.22 * size_px
    draw.rounded_rectangle((x - pad, y - half, x + width + pad, y + half), radius=pad, fill=(0, 0, 0, 170))
    draw.text(left_middle, text, font=font(size_px), fill=WHITE, anchor="lm")


def pen(picture: Picture) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    """Image over the picture's pixels and a pen that can write half-transparent plates on it."""
    image = Image.fromarray(picture)
    return image, ImageDraw.Draw(image, "RGBA")


@lru_cache(maxsize=64)
def _font(size_px: int) -> ImageFont.FreeTypeFont:
    data = files("canopy.outputs").joinpath("font/DejaVuSans-letters.ttf").read_bytes()
    return ImageFont.truetype(io.BytesIO(data), size_px, layout_engine=ImageFont.Layout.BASIC)


def font(size_px: float) -> ImageFont.FreeTypeFont:
    """The typeface that comes with the tool, so that pictures look the same on every machine."""
    return _font(max(6, round(size_px)))
