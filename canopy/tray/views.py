"""A tray by the saved view of a fixed camera: checked against the photo, followed a little, refused when moved."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.errors import TrayNotFound
from canopy.photo.image import Photo
from canopy.records import Layout, SavedView, TrayRecord
from canopy.settings import TraySettings
from canopy.settings.view import ViewSettings
from canopy.tray.checks import require_plausible
from canopy.tray.fit import fit_homography
from canopy.tray.frame import Frame, apply_homography, undistort
from canopy.tray.pose import complete_frame
from canopy.tray.register import Movement, check_rim, find_movement, find_shift, shape_change, view_picture

FloatArray = NDArray[np.float64]
RgbImage = NDArray[np.uint8]

_SAME_SHAPE = 0.01  # logarithm of width : height; another crop or a turned camera differs by far more
_SAME_SIZE_MM = 0.5  # outlines that differ by less are one tray


def save_view(name: str, photo: Photo, frame: Frame, layout: Layout, *, settings: TraySettings) -> SavedView:
    """The view of a photo whose tray was located, by whatever means."""
    corners = (frame.to_px(layout.outline_mm) + 0.5) * photo.reduction - 0.5
    places = [(round(float(x), 2), round(float(y), 2)) for x, y in corners]
    return SavedView(
        name=name,
        width_px=photo.full_width_px,
        height_px=photo.full_height_px,
        corners_px=(places[0], places[1], places[2], places[3]),
        k1=round(frame.k1, 6),
        layout=layout,
        saved_from=photo.name,
        located_by=frame.located_by,
        picture=view_picture(photo.rgb, settings=settings.view),
    )


def locate_by_view(photo: Photo, record: TrayRecord, view: SavedView, *, settings: TraySettings) -> Frame:
    """Where a saved view puts the tray, followed to where camera and tray are now.

    What does not grow (ground, rim, things around) is matched by features, which gives the camera's movement; then the
    tray's sides must be found again where that puts them, and the corners are moved onto them.

    Raises
    ------
    TrayNotFound
        `camera_moved`: moved too far, or too little is found again to be sure; `doubtful_fit`: another layout or size.
    """
    _require_same(photo, record.layout, view)
    before = _decoded(view, photo.name)
    height, width = before.shape[:2]
    now = np.asarray(cv2.resize(photo.rgb, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
    corners = (np.array(view.corners_px) + 0.5) * (width / view.width_px) - 0.5
    followed = _follow(photo.name, view.name, before, now, corners, settings.view)
    per_px = photo.rgb.shape[1] / width
    corners_px = (followed + 0.5) * per_px - 0.5
    size = {"width_px": photo.rgb.shape[1], "height_px": photo.rgb.shape[0]}
    ideal = undistort(corners_px, view.k1, **size) if view.k1 else corners_px
    moved_px = float(np.hypot(*(followed - corners).T).max()) * photo.full_width_px / width
    frame = complete_frame(
        fit_homography(record.layout.outline_mm, ideal),
        photo=photo,
        layout=record.layout,
        settings=settings,
        located_by=f"saved view {view.name}, followed {moved_px:.0f} px",
        k1=view.k1,
        camera_height_mm=record.camera_height_mm,
    )
    return require_plausible(frame, record.layout, name=photo.name, settings=settings)


def _follow(
    name: str, view: str, before: RgbImage, now: RgbImage, corners: FloatArray, settings: ViewSettings
) -> FloatArray:
    """Corners in the new picture, both pictures small and of one size."""
    limit = settings.follow_share * before.shape[1]
    movement = find_movement(before, now, reach_px=1.5 * limit, settings=settings)
    sure = _sure(movement, settings)
    # Where plants hide most of what stays, a plain shift may still be seen; then every side of the tray must show it.
    matrix = movement.matrix if movement is not None and sure else find_shift(before, now, settings=settings)
    foretold = apply_homography(matrix, corners)
    if shape_change(corners, foretold) > settings.max_shape_change:
        raise _moved(name, view, "the camera stands at another place or angle than when the view was saved")
    rim = check_rim(before, now, corners, foretold, settings=settings)
    if not sure and not rim.found.all():
        raise _moved(name, view, _how_far(before, now, corners, settings))
    if not np.isfinite(rim.corners).all() or shape_change(corners, rim.corners) > settings.max_shape_change:
        raise _moved(name, view, "the tray's sides are not where the view shows them")
    if not rim.found.all():
        if rim.found.sum() < 3:
            raise _moved(
                name, view, f"only {rim.found.sum()} of the tray's 4 sides are found again (moved, or hidden by leaves)"
            )
        if rim.apart_px.max() > settings.rim_apart_px:
            raise _moved(name, view, "one of the tray's sides is not found again and the others moved")
    moved = float(np.hypot(*(rim.corners - corners).T).max())
    if moved > limit:
        raise _moved(name, view, f"the corners moved by {moved / before.shape[1]:.0%} of the width")
    return rim.corners


def _sure(movement: Movement | None, settings: ViewSettings) -> bool:
    return (
        movement is not None
        and movement.inliers >= settings.min_inliers
        and movement.inliers >= settings.min_inlier_share * movement.matches
    )


def _how_far(before: RgbImage, now: RgbImage, corners: FloatArray, settings: ViewSettings) -> str:
    """Why the view could not be followed: moved far, as far as that can be seen, or nothing is found again."""
    movement = find_movement(before, now, reach_px=None, settings=settings)
    if _sure(movement, settings):
        assert movement is not None
        after = apply_homography(movement.matrix, corners)
        if shape_change(corners, after) < math.inf:
            moved = float(np.hypot(*(after - corners).T).max())
            return f"the camera moved, the corners by about {moved / before.shape[1]:.0%} of the width"
    return "too little of what stands around is found again"


def _moved(name: str, view: str, wrong: str) -> TrayNotFound:
    return TrayNotFound(
        "camera_moved",
        f"{name}: saved view {view} does not hold: {wrong}; inspect the corners, then put camera and tray back or save "
        "the view anew",
    )


def _require_same(photo: Photo, layout: Layout, view: SavedView) -> None:
    """The photo must have the view's shape, the tray the view's outline."""
    here, there = photo.full_width_px / photo.full_height_px, view.width_px / view.height_px
    if abs(math.log(here / there)) > _SAME_SHAPE:
        raise TrayNotFound(
            "camera_moved",
            f"{photo.name}: is {photo.full_width_px} x {photo.full_height_px} px, but saved view {view.name} is of "
            f"{view.width_px} x {view.height_px} px; use the same camera and crop, or save the view anew",
        )
    apart = np.abs(layout.outline_mm - view.layout.outline_mm).max()
    if apart > _SAME_SIZE_MM:
        raise TrayNotFound(
            "doubtful_fit",
            f"{photo.name}: layout {_size(layout)}, but saved view {view.name} is of a tray {_size(view.layout)}; "
            "correct `layout` or `view`",
        )


def _size(layout: Layout) -> str:
    return f"{layout.name} of {layout.outline_width_mm:g} x {layout.outline_height_mm:g} mm"


def _decoded(view: SavedView, name: str) -> RgbImage:
    bgr = cv2.imdecode(np.frombuffer(view.picture or b"-", np.uint8), cv2.IMREAD_COLOR)
    if bgr is None:
        raise TrayNotFound(
            "doubtful_fit", f"{name}: the picture of saved view {view.name} is spoilt; save the view anew"
        )
    return np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), np.uint8)
