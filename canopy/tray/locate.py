"""Where the tray is: by given corners, its markers, the picture's border when told so, or its outline and cells."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np

from canopy.errors import TrayNotFound
from canopy.photo.image import Photo
from canopy.records import Layout, TrayRecord
from canopy.settings import TraySettings
from canopy.tray.checks import require_clockwise, require_plausible
from canopy.tray.corners import border_corners_px, given_corners_px
from canopy.tray.fit import PlaneFit, fit_homography, fit_markers
from canopy.tray.frame import Frame
from canopy.tray.markers import IDS, SeenMarker, find_markers, marker_places_mm
from canopy.tray.pose import complete_frame
from canopy.tray.several import Box, locate_among, reading_order
from canopy.tray.unaided import locate_unaided
from canopy.tray.views import locate_by_view


def locate_tray(photo: Photo, record: TrayRecord, *, settings: TraySettings) -> Frame:
    """Find the mapping between a tray's millimetres and a photo's pixels.

    Given corners come first, then the saved view of a fixed camera, which must hold, then the printed markers (unless
    the record says there are none), then the picture's own border if the record says that this is the outline. Where no
    marker is seen and none is demanded, the tray's outline and the grid of its cells are looked for. Nothing is ever
    guessed: doubt is an error.

    Parameters
    ----------
    photo : Photo
    record : TrayRecord
    settings : TraySettings

    Raises
    ------
    TrayNotFound
        `tray_not_found`, or `doubtful_fit` when what was found cannot be right; the message names the mend.
    """
    if record.corners_px is not None:
        return _by_corners(photo, record, settings)
    if record.view is not None:
        return locate_by_view(photo, record, record.view, settings=settings)
    if record.trays_in_picture > 1:
        return _one_of_several(photo, record, settings)
    seen: list[SeenMarker] = []
    if record.has_markers is not False:
        seen = find_markers(photo.rgb, settings=settings)
        if len({marker.id for marker in seen}) >= len(IDS) - 1:
            return _by_markers(seen, photo, record, settings)
    if record.whole_picture and record.has_markers is not True:
        return _by_border(photo, record, settings)
    if record.has_markers is not True and not seen:
        return locate_unaided(photo, record, settings=settings)
    raise TrayNotFound("tray_not_found", f"{photo.name}: {_what_is_missing(seen)}")


def _one_of_several(photo: Photo, record: TrayRecord, settings: TraySettings) -> Frame:
    """By its markers where all trays have all of theirs, else by outlines where no marker is seen."""
    seen = [] if record.has_markers is False else find_markers(photo.rgb, settings=settings)
    if not seen and record.has_markers is not True:
        return locate_among(photo, record, settings=settings)
    fits = _sets_that_fit(seen, photo, record.layout, settings)
    if len(fits) != record.trays_in_picture or len({id(m) for _, four in fits for m in four}) != len(IDS) * len(fits):
        raise TrayNotFound(
            "which_tray",
            f"{photo.name}: {len(fits)} sets of 4 corner markers fit layout {record.layout.name}, the tray list names "
            f"{record.trays_in_picture} trays; free the hidden markers, or give `corners` for each in the tray list",
        )
    frames = [_marked_frame(fit, four, photo, record, settings) for fit, four in fits]
    corners = [frame.to_px(record.layout.outline_mm) for frame in frames]
    boxes = [Box(*c.min(axis=0).tolist(), *c.max(axis=0).tolist()) for c in corners]
    frame = frames[reading_order(boxes, name=photo.name, settings=settings.unaided)[record.place - 1]]
    return replace(frame, located_by=f"{frame.located_by}, tray {record.place} of {record.trays_in_picture}")


def _by_corners(photo: Photo, record: TrayRecord, settings: TraySettings) -> Frame:
    assert record.corners_px is not None
    corners_px = given_corners_px(record.corners_px, photo)
    require_clockwise(corners_px, name=photo.name)
    frame = complete_frame(
        fit_homography(record.layout.outline_mm, corners_px),
        photo=photo,
        layout=record.layout,
        settings=settings,
        located_by="corners",
        camera_height_mm=record.camera_height_mm,
    )
    return require_plausible(frame, record.layout, name=photo.name, settings=settings)


def _by_border(photo: Photo, record: TrayRecord, settings: TraySettings) -> Frame:
    """A picture that was cut to the tray is no longer a camera's view: no tilt, and its focal length says nothing."""
    layout = record.layout
    corners_px = border_corners_px(photo, layout, max_aspect_ratio=settings.picture_aspect)
    frame = complete_frame(
        fit_homography(layout.outline_mm, corners_px),
        photo=replace(photo, focal_length_px=None),
        layout=layout,
        settings=settings,
        located_by="whole picture",
    )
    height = record.camera_height_mm
    camera = None if height is None else (layout.outline_width_mm / 2, layout.outline_height_mm / 2, height)
    frame = replace(frame, tilt_deg=0.0, camera_mm=camera, focal_source="")
    return require_plausible(frame, layout, name=photo.name, settings=settings)


def _by_markers(seen: list[SeenMarker], photo: Photo, record: TrayRecord, settings: TraySettings) -> Frame:
    if len({marker.id for marker in seen}) < len(seen):
        fit, used = _only_set_that_fits(seen, photo, record.layout, settings)
    else:
        fit, used = _best_fit(seen, photo, record.layout, settings)
    return _marked_frame(fit, used, photo, record, settings)


def _marked_frame(
    fit: PlaneFit, used: list[SeenMarker], photo: Photo, record: TrayRecord, settings: TraySettings
) -> Frame:
    _require_print_size(fit, photo, record.layout, settings)
    frame = complete_frame(
        fit.px_from_mm,
        photo=photo,
        layout=record.layout,
        settings=settings,
        located_by="markers" if len(used) == len(IDS) else "3 markers",
        k1=fit.k1,
        residual_px=fit.residual_px,
        camera_height_mm=record.camera_height_mm,
    )
    return require_plausible(frame, record.layout, name=photo.name, settings=settings)


def _only_set_that_fits(
    seen: list[SeenMarker], photo: Photo, layout: Layout, settings: TraySettings
) -> tuple[PlaneFit, list[SeenMarker]]:
    """An id is seen twice: a neighbour's marker is in view. Of all sets of four, exactly one must fit."""
    of_id = [[marker for marker in seen if marker.id == number] for number in IDS]
    if len(seen) <= 2 * len(IDS) and len(fits := _sets_that_fit(seen, photo, layout, settings)) == 1:
        return fits[0]
    twice = [number for number, markers in zip(IDS, of_id, strict=True) if len(markers) > 1]
    raise TrayNotFound(
        "doubtful_fit",
        f"{photo.name}: corner markers with id {_listed(twice)} are seen twice; keep one tray in the picture, "
        "or give `corners` in the tray list",
    )


def _sets_that_fit(
    seen: list[SeenMarker], photo: Photo, layout: Layout, settings: TraySettings
) -> list[tuple[PlaneFit, list[SeenMarker]]]:
    """All sets of four markers, one of each id, that the layout allows."""
    of_id = [[marker for marker in seen if marker.id == number] for number in IDS]
    if max(map(len, of_id)) > settings.most_marked_trays:
        return []
    sets = [list(four) for four in itertools.product(*of_id)]
    return [(fit, four) for four in sets if _good(fit := _fit(four, photo, layout, settings), four, settings)]


def _best_fit(
    seen: list[SeenMarker], photo: Photo, layout: Layout, settings: TraySettings
) -> tuple[PlaneFit, list[SeenMarker]]:
    """Fit to all markers; if that is poor and there are four, to the three that clearly agree."""
    fit = _fit(seen, photo, layout, settings)
    if _good(fit, seen, settings):
        return fit, seen
    if len(seen) == len(IDS):
        threes = [[marker for marker in seen if marker is not left_out] for left_out in seen]
        pairs = ((_fit(three, photo, layout, settings), three) for three in threes)
        (best, used), (second, _), *_ = sorted(pairs, key=lambda pair: pair[0].residual_px)
        if _good(best, used, settings) and second.residual_px > settings.residual_gap * best.residual_px:
            return best, used
    raise TrayNotFound(
        "doubtful_fit",
        f"{photo.name}: marker corners miss their places by {fit.residual_px:.1f} px "
        f"(at most {_bound_px(seen, settings):.1f}); check `layout`, `outline_mm`, `marker_mm`, `marker_offset_mm` "
        "and that the markers lie flat",
    )


def _fit(seen: list[SeenMarker], photo: Photo, layout: Layout, settings: TraySettings) -> PlaneFit:
    places = [marker_places_mm(layout, marker.id) for marker in seen]
    height_px, width_px = photo.rgb.shape[:2]
    return fit_markers(
        np.concatenate([np.tile(centre, (4, 1)) for centre, _ in places]),
        np.concatenate([offsets for _, offsets in places]),
        np.concatenate([marker.corners_px for marker in seen]),
        width_px=width_px,
        height_px=height_px,
        settings=settings,
    )


def _good(fit: PlaneFit, seen: list[SeenMarker], settings: TraySettings) -> bool:
    return fit.residual_px <= _bound_px(seen, settings) and abs(fit.k1) <= settings.max_lens


def _bound_px(seen: list[SeenMarker], settings: TraySettings) -> float:
    side_px = float(np.mean([marker.side_px for marker in seen]))
    return max(settings.residual_floor_px, settings.max_residual_of_side * side_px)


def _require_print_size(fit: PlaneFit, photo: Photo, layout: Layout, settings: TraySettings) -> None:
    if abs(fit.print_scale - 1) > settings.max_print_scale:
        raise TrayNotFound(
            "doubtful_fit",
            f"{photo.name}: markers look {fit.print_scale * layout.markers.side_mm:.1f} mm wide beside the tray, "
            f"the layout says {layout.markers.side_mm:g}; correct `marker_mm`, `marker_offset_mm` or `outline_mm`",
        )


def _what_is_missing(seen: list[SeenMarker]) -> str:
    if not seen:
        return "found none of the 4 corner markers; free them, or give `corners` in the tray list"
    ids = sorted({marker.id for marker in seen})
    return (
        f"found {len(ids)} of 4 corner markers (id {_listed(ids)}), 3 are needed; free the hidden corners "
        "or give `corners` in the tray list"
    )


def _listed(ids: list[int]) -> str:
    return ", ".join(map(str, ids))
