"""The tray by its four corners: given by a person, or the picture's own border."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopy.errors import TrayNotFound
from canopy.photo.image import Photo
from canopy.records import Layout

FloatArray = NDArray[np.float64]


def given_corners_px(corners_px: tuple[tuple[float, float], ...], photo: Photo) -> FloatArray:
    """Corners 0..3 in full-size upright pixels → decoded pixels.

    Raises
    ------
    TrayNotFound
        `doubtful_fit` when they are not four finite points.
    """
    corners = np.array(corners_px, np.float64)
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        raise TrayNotFound("doubtful_fit", f"{photo.name}: `corners` needs 8 numbers, x y of corners 0..3; correct it")
    return np.asarray((corners + 0.5) / photo.reduction - 0.5)


def border_corners_px(photo: Photo, layout: Layout, *, max_aspect_ratio: float) -> FloatArray:
    """The picture's border as the tray's outline, reading order as seen: corner 0 at the top left.

    Raises
    ------
    TrayNotFound
        `doubtful_fit` when the picture's width : height is far from the layout's.
    """
    height_px, width_px = photo.rgb.shape[:2]
    picture = width_px / height_px
    tray = layout.outline_width_mm / layout.outline_height_mm
    if max(picture / tray, tray / picture) > max_aspect_ratio:
        raise TrayNotFound(
            "doubtful_fit",
            f"{photo.name}: the picture is {width_px} × {height_px} px but the tray {layout.outline_width_mm:g} × "
            f"{layout.outline_height_mm:g} mm; crop or turn it to the tray, or correct `outline_mm`",
        )
    right, bottom = width_px - 0.5, height_px - 0.5
    return np.array([[-0.5, -0.5], [right, -0.5], [right, bottom], [-0.5, bottom]])
