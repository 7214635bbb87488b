"""A tray without markers: its outline as a small network sees it, then its grid of cells, then doubts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.errors import TrayNotFound
from canopy.photo.image import Photo
from canopy.records import Layout, TrayRecord
from canopy.settings import TraySettings
from canopy.settings.unaided import UnaidedSettings
from canopy.tray.checks import require_plausible
from canopy.tray.fit import PlaneFit, fit_homography, fit_markers
from canopy.tray.frame import Frame, apply_homography, distort
from canopy.tray.lattice import Grid, lay_grid
from canopy.tray.outline import Outline, find_outlines
from canopy.tray.pose import complete_frame
from canopy.tray.sight import Sight, see_trays

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Found:
    """A way to lay the tray over the picture, and what speaks for it."""

    outline: Outline
    corners_px: FloatArray
    grid: Grid
    fit: PlaneFit


def locate_unaided(photo: Photo, record: TrayRecord, *, settings: TraySettings) -> Frame:
    """Find a tray by its outline and the grid of its cells.

    The outline comes from soft maps of a small network; the cells of the layout are then compared with each other, which
    moves the mapping onto them and shows whether rows, columns and pitch are right. A tray turned by half a turn looks
    the same: the orientation nearest to upright is taken, A1 at the upper left as the picture is seen.

    Parameters
    ----------
    photo : Photo
    record : TrayRecord
        Gives the layout.
    settings : TraySettings

    Raises
    ------
    TrayNotFound
        `tray_not_found` when no tray of this shape is seen; `doubtful_fit` when one is but might be laid wrongly.
    """
    layout = record.layout
    found = lay_tray(photo, layout, settings=settings)
    if found is None:
        raise TrayNotFound(
            "tray_not_found",
            f"{photo.name}: no markers, and no outline that fits layout {layout.name} is seen; free the rim, show the "
            "whole tray, or give `corners` in the tray list",
        )
    frame = complete_frame(
        found.fit.px_from_mm,
        photo=photo,
        layout=layout,
        settings=settings,
        located_by="outline",
        k1=found.fit.k1,
        residual_px=found.fit.residual_px,
        camera_height_mm=record.camera_height_mm,
    )
    if doubts := doubts_of(found, frame, layout, settings=settings.unaided):
        raise TrayNotFound("doubtful_fit", f"{photo.name}: no markers, and {doubts[0]}")
    return require_plausible(frame, layout, name=photo.name, settings=settings)


def lay_tray(photo: Photo, layout: Layout, *, settings: TraySettings) -> Found | None:
    """The likeliest way the tray lies in the picture, however doubtful; None when nothing like it is seen."""
    sight = see_trays(photo.rgb)
    ways = [
        _lay(photo.rgb, sight, outline, layout, settings)
        for outline in find_outlines(sight, layout, settings=settings.unaided)
    ]
    return max(ways, key=lambda way: way.grid.share, default=None)


def _lay(
    rgb: NDArray[np.uint8], sight: Sight, outline: Outline, layout: Layout, settings: TraySettings
) -> Found:
    corners_px = sight.to_photo(outline.corners)
    first = fit_homography(layout.outline_mm, corners_px)
    grid = lay_grid(rgb, first / first[2, 2], layout, settings=settings.unaided)
    return Found(outline, corners_px, grid, _fit(first, grid, layout, rgb.shape, settings))


def _fit(first: FloatArray, grid: Grid, layout: Layout, shape: tuple[int, ...], settings: TraySettings) -> PlaneFit:
    """Mapping and lens term through the cells that agree; the outline's own where they are too few."""
    if len(grid.cells_mm) < settings.unaided.min_cells or grid.share < settings.unaided.min_share:
        nothing = np.zeros(4)
        return PlaneFit(first, 0.0, 1.0, nothing)
    return fit_markers(
        grid.cells_mm,
        np.zeros_like(grid.cells_mm),
        grid.cells_px,
        width_px=shape[1],
        height_px=shape[0],
        settings=settings,
    )


def doubts_of(found: Found, frame: Frame, layout: Layout, *, settings: UnaidedSettings) -> list[str]:
    """What speaks against a fit, each as a clause with advice; none when it can be relied on."""
    doubts = []
    corners = frame.to_px(layout.outline_mm)
    size = np.array([frame.width_px, frame.height_px])
    if not np.isfinite(corners).all() or (corners < -1).any() or (corners > size).any():
        doubts.append("the tray is cut off by the picture's border; step back, or give `corners` in the tray list")
        return doubts
    return doubts


def moved_pitches(found: Found, frame: Frame, layout: Layout) -> float:
    """Farthest distance between the final corners and those of the outline, in pitches."""
    pitch_px = min(layout.pitch_x_mm, layout.pitch_y_mm) / frame.mm_per_px
    return float(np.hypot(*(frame.to_px(layout.outline_mm) - found.corners_px).T).max() / pitch_px)


__all__ = ["Found", "apply_homography", "distort", "doubts_of", "lay_tray", "locate_unaided", "moved_pitches"]
