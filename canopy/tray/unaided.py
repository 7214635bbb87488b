"""A tray without markers: its outline as a small network sees it, then its grid of cells, then doubts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.errors import TrayNotFound
from canopy.photo.image import Photo
from canopy.records import Layout, TrayRecord
from canopy.settings import TraySettings
from canopy.tray.checks import require_plausible
from canopy.tray.fit import PlaneFit, fit_homography, fit_markers
from canopy.tray.frame import Frame, apply_homography, distort, undistort
from canopy.tray.lattice import Grid, judged, lay_grid
from canopy.tray.outline import Outline, find_outlines, side_offsets
from canopy.tray.pose import complete_frame
from canopy.tray.sight import Sight, see_trays

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Laid:
    """A way to lay the tray over the picture, and what speaks for it.

    Attributes
    ----------
    outline : Outline
    grid : Grid
    fit : PlaneFit
        Through the cells that agree, or the outline's own.
    by_grid : bool
        False: the outline's own.
    corners_px : (4, 2) ndarray
        Corners of the outline by this fit, photo pixels.
    offsets : (4,) ndarray
        How far the seen outline lies outside of the fit's, in pitches: above the first row, right of the last column,
        below the last row, left of the first column.
    """

    outline: Outline
    grid: Grid
    fit: PlaneFit
    by_grid: bool
    corners_px: FloatArray
    offsets: FloatArray

    @property
    def shift(self) -> FloatArray:
        """(x, y) by which the seen outline's middle lies beside the fit's, in pitches."""
        top, right, bottom, left = self.offsets
        return np.array([right - left, bottom - top]) / 2

    @property
    def excess(self) -> FloatArray:
        """(x, y) by which the seen outline is larger than the fit's, in pitches."""
        top, right, bottom, left = self.offsets
        return np.array([right + left, bottom + top])


def locate_unaided(photo: Photo, record: TrayRecord, *, settings: TraySettings) -> Frame:
    """Find a tray by its outline and the grid of its cells.

    The outline comes from soft maps of a small network; the cells of the layout are then compared with each other,
    which moves the mapping onto them and shows whether rows, columns and pitch are right. A tray turned by half a turn
    looks the same: the orientation nearest to upright is taken, A1 at the upper left as the picture is seen.

    Parameters
    ----------
    photo : Photo
    record : TrayRecord
        Gives the layout.
    settings : TraySettings

    Raises
    ------
    TrayNotFound
        `tray_not_found` for mats, and when no tray of this shape is seen; `doubtful_fit` when one is but might be laid
        wrongly.
    """
    layout = record.layout
    if layout.kind == "mat":
        raise TrayNotFound(
            "tray_not_found",
            f"{photo.name}: a mat has no cells to check its outline by, and shoots hide its rim; use markers, or give "
            "`corners` or `view` in the tray list",
        )
    laid = lay_tray(photo.rgb, layout, settings=settings)
    if laid is None:
        raise TrayNotFound(
            "tray_not_found",
            f"{photo.name}: without markers, no outline of the shape of layout {layout.name} is seen; show the whole "
            "tray, or give `corners` in the tray list",
        )
    frame = complete_frame(
        laid.fit.px_from_mm,
        photo=photo,
        layout=layout,
        settings=settings,
        located_by="outline",
        k1=laid.fit.k1,
        residual_px=laid.fit.residual_px,
        camera_height_mm=record.camera_height_mm,
    )
    if doubt := doubt_of(laid, layout, width_px=frame.width_px, height_px=frame.height_px, settings=settings):
        raise TrayNotFound(
            "doubtful_fit",
            f"{photo.name}: without markers, {doubt}; check `layout`, or give `corners` in the tray list",
        )
    return require_plausible(frame, layout, name=photo.name, settings=settings)


def lay_tray(rgb: NDArray[np.uint8], layout: Layout, *, settings: TraySettings) -> Laid | None:
    """The likeliest way the tray lies in a picture, however doubtful; None when nothing like it is seen."""
    sight = see_trays(rgb)
    ways = [
        lay_by(rgb, sight, outline, layout, settings=settings)
        for outline in find_outlines(sight, layout, settings=settings.unaided)
    ]
    return max(ways, key=lambda way: way.grid.firmness, default=None)


def lay_by(rgb: NDArray[np.uint8], sight: Sight, outline: Outline, layout: Layout, *, settings: TraySettings) -> Laid:
    """Lay the grid by an outline; where that looks wrong by half a pitch or more, also beside, and take the better.

    Walls look alike from cell to cell, so a grid can lock with its cells' middles on crossings of walls. Then cells
    along one side lie off the tray and the seen outline lies beside the grid's.
    """
    first = fit_homography(layout.outline_mm, sight.to_photo(outline.corners))
    first = first / first[2, 2]
    laid = _lay_once(rgb, sight, outline, first, first, layout, settings)
    shift, sure = laid.shift, settings.unaided
    doubted = np.abs(shift).max() > sure.surely_shift or laid.grid.weakest_side < sure.surely_side
    if not laid.by_grid or not doubted or not np.isfinite(shift).all():
        return laid
    unclear = np.abs(shift) > sure.surely_shift / 2
    steps = np.where(unclear, np.sign(shift) * np.maximum(0.5, np.rint(2 * np.abs(shift)) / 2), 0)
    ways = [laid]
    for x, y in {(steps[0], 0.0), (0.0, steps[1]), (steps[0], steps[1])} - {(0.0, 0.0)}:
        moved = np.array([[1, 0, x * layout.pitch_x_mm], [0, 1, y * layout.pitch_y_mm], [0, 0, 1.0]])
        ways.append(_lay_once(rgb, sight, outline, laid.fit.px_from_mm @ moved, first, layout, settings))
    return max(ways, key=_belief)


def _belief(laid: Laid) -> float:
    """How far to believe one way rather than another."""
    if not laid.by_grid or not np.isfinite(laid.offsets).all():
        return -np.inf
    return laid.grid.weakest_side + laid.grid.firmness - float(np.abs(laid.shift).max())


def _lay_once(
    rgb: NDArray[np.uint8],
    sight: Sight,
    outline: Outline,
    start: FloatArray,
    by_outline: FloatArray,
    layout: Layout,
    settings: TraySettings,
) -> Laid:
    grid = lay_grid(rgb, start, layout, settings=settings.unaided)
    size = {"width_px": rgb.shape[1], "height_px": rgb.shape[0]}
    by_grid = len(grid.cells_mm) >= settings.unaided.min_cells and grid.share >= settings.unaided.min_share
    if by_grid:
        strict = settings.model_copy(update={"lens_f_min": settings.unaided.lens_f_min})
        fit = fit_markers(grid.cells_mm, np.zeros_like(grid.cells_mm), grid.cells_px, settings=strict, **size)
        if fit.k1:  # the grid was judged as if the lens were straight: cells towards the corners looked out of place
            grid = _judged_through(fit, grid, layout, settings, **size)
            fit = fit_markers(grid.cells_mm, np.zeros_like(grid.cells_mm), grid.cells_px, settings=strict, **size)
    else:
        fit = PlaneFit(by_outline, 0.0, 1.0, np.zeros(4))
    corners_px = distort(apply_homography(fit.px_from_mm, layout.outline_mm), fit.k1, **size)
    offsets = _offsets(sight, corners_px, layout) if np.isfinite(corners_px).all() else np.full(4, np.inf)
    return Laid(outline, grid, fit, by_grid, corners_px, offsets)


def _judged_through(
    fit: PlaneFit, grid: Grid, layout: Layout, settings: TraySettings, *, width_px: int, height_px: int
) -> Grid:
    """The grid judged anew with the lens taken out."""
    ideal = undistort(grid.found_px, fit.k1, width_px=width_px, height_px=height_px)
    found = apply_homography(np.asarray(np.linalg.inv(fit.px_from_mm), np.float64), ideal)
    apart = np.hypot(*((found - grid.places_mm) / (layout.pitch_x_mm, layout.pitch_y_mm)).T)
    again = judged(grid, np.nan_to_num(apart, nan=np.inf), settings=settings.unaided)
    return again if again.firmness > grid.firmness else grid


def _offsets(sight: Sight, corners_px: FloatArray, layout: Layout) -> FloatArray:
    """How far outside the seen outline lies, in pitches of the direction across each side."""
    corners = sight.to_thumbnail(corners_px)
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    pitch_x = float(sides[[0, 2]].mean()) * layout.pitch_x_mm / layout.outline_width_mm
    pitch_y = float(sides[[1, 3]].mean()) * layout.pitch_y_mm / layout.outline_height_mm
    pitch = np.array([pitch_y, pitch_x, pitch_y, pitch_x])
    return np.asarray(side_offsets(sight.this_tray, corners, reach=1.25 * pitch + 2) / pitch)


def doubt_of(laid: Laid, layout: Layout, *, width_px: int, height_px: int, settings: TraySettings) -> str:
    """What speaks against a fit, as a clause; empty when it can be relied on."""
    bounds, grid = settings.unaided, laid.grid
    corners = laid.corners_px
    if (corners < -1).any() or (corners > (width_px, height_px)).any():
        return "the tray is cut off by the picture's border"
    shift, excess = float(np.abs(laid.shift).max()), float(np.abs(laid.excess).max())
    apart = shift + excess / 2
    backed = apart <= bounds.surely_apart and grid.weakest_side >= bounds.backed_side
    if not laid.by_grid or grid.firmness < (bounds.backed_firmness if backed else bounds.firmness):
        return f"the cells are not alike enough at the pitch of layout {layout.name} ({grid.share:.0%} agree)"
    needed = min(bounds.weakest_side, bounds.side_per_apart * (apart - bounds.surely_apart))
    if grid.weakest_side < needed:
        return "the cells along one side are unlike the others, as if the grid lay beside the tray"
    if shift > bounds.shift_pitch or excess > bounds.excess_pitch:
        return f"its outline and its cells disagree by {np.abs(laid.offsets).max():.1f} of the pitch"
    return ""
