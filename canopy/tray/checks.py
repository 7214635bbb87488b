"""Doubtful fits: what a mapping must satisfy before anything is measured with it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopy.errors import TrayNotFound
from canopy.records import Layout
from canopy.settings import TraySettings
from canopy.tray.frame import Frame
from canopy.tray.pose import scales_mm_per_px

FloatArray = NDArray[np.float64]


def require_plausible(frame: Frame, layout: Layout, *, name: str, settings: TraySettings) -> Frame:
    """Return the frame if a camera could have seen the tray this way.

    Raises
    ------
    TrayNotFound
        `doubtful_fit`: corners crossed or mirrored, far outside the picture, scale or tilt out of range.
    """
    _require_outline(frame, layout, name=name, settings=settings)
    size = {"width_px": frame.width_px, "height_px": frame.height_px}
    along_row, along_column = scales_mm_per_px(frame.px_from_mm, frame.k1, layout=layout, **size)
    if max(along_row / along_column, along_column / along_row) > settings.max_axis_ratio:
        raise _doubtful(
            name,
            f"{along_row:.3f} mm per pixel along rows but {along_column:.3f} along columns",
            "check `layout` and `outline_mm`",
        )
    if not settings.min_mm_per_px <= frame.mm_per_px <= settings.max_mm_per_px:
        raise _doubtful(name, f"scale is {frame.mm_per_px:.4g} mm per pixel", "check `layout` and `outline_mm`")
    if frame.tilt_deg > settings.max_tilt_deg:
        raise _doubtful(
            name,
            f"tray is seen at a tilt of {frame.tilt_deg:.0f}° (at most {settings.max_tilt_deg:g}°)",
            "hold the camera straight over it, or check `layout`",
        )
    return frame


def _require_outline(frame: Frame, layout: Layout, *, name: str, settings: TraySettings) -> None:
    corners = frame.to_px(layout.outline_mm)
    require_clockwise(corners, name=name)
    size = np.array([frame.width_px, frame.height_px])
    margin = settings.outside_share * size
    if (corners < -margin).any() or (corners > size + margin).any():
        raise _doubtful(name, "tray reaches far outside the picture", "check `layout` and `corners`, or step back")


def require_clockwise(corners_px: FloatArray, *, name: str) -> None:
    """Refuse four corners that do not turn clockwise all the way round, as those of any tray in a picture do.

    Raises
    ------
    TrayNotFound
        `doubtful_fit`: mirrored or crossed.
    """
    edges = np.roll(corners_px, -1, axis=0) - corners_px
    after = np.roll(edges, -1, axis=0)
    turns = edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0]
    if (turns < 0).all():
        raise _doubtful(name, "tray corners come out mirrored", "give corners 0..3 clockwise from A1's corner")
    if not (turns > 0).all():  # NaN as well
        raise _doubtful(name, "tray corners cross", "give corners 0..3 clockwise from A1's corner")


def _doubtful(name: str, wrong: str, mend: str) -> TrayNotFound:
    return TrayNotFound("doubtful_fit", f"{name}: {wrong}; {mend}")
