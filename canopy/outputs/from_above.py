"""The tray seen from straight above with every plant outlined: the picture over which a page draws its cells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canopy.outputs.marks import Picture, draw_lines
from canopy.outputs.overlays import plant_outlines_mm, shrink
from canopy.pictures.palette import BLACK, YELLOW

if TYPE_CHECKING:
    from canopy.analyse import Worked

_LEAF_LINE = 1 / 900


@dataclass(frozen=True)
class FromAbove:
    """A picture of a tray and where it lies on the tray.

    Attributes
    ----------
    picture : (M, N, 3) uint8 ndarray
        sRGB; row A at the top.
    x_mm, y_mm, width_mm, height_mm : float
        The rectangle that it shows, tray mm, to the outer edges of its pixels.
    """

    picture: Picture
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


def draw_from_above(worked: Worked, *, long_side_px: int) -> FromAbove:
    """Draw the rectified tray with its plants outlined.

    Parameters
    ----------
    worked : Worked
    long_side_px : int
        The picture is no larger, and no larger than what was measured.
    """
    rectified = worked.rectified
    picture = shrink(rectified.rgb, long_side_px=long_side_px)
    if picture is rectified.rgb:
        picture = picture.copy()
    height, width = rectified.rgb.shape[:2]
    scale = picture.shape[1] / width
    outlines = [(rectified.to_px(line) + 0.5) * scale - 0.5 for line in plant_outlines_mm(worked)]
    pen_px = max(1, round(_LEAF_LINE * max(picture.shape[:2])))
    draw_lines(picture, outlines, colour=BLACK, width_px=pen_px + 2, closed=True)
    draw_lines(picture, outlines, colour=YELLOW, width_px=pen_px, closed=True)
    s = rectified.mm_per_px
    return FromAbove(
        np.ascontiguousarray(picture), rectified.x0_mm - s / 2, rectified.y0_mm - s / 2, width * s, height * s
    )
