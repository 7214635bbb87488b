"""Several trays in one picture: each found on its own, named in reading order, or asked for."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.errors import TrayNotFound
from canopy.photo.image import Photo
from canopy.records import TrayRecord
from canopy.settings import TraySettings
from canopy.settings.unaided import UnaidedSettings
from canopy.tray.checks import require_plausible
from canopy.tray.fit import fit_markers
from canopy.tray.frame import Frame
from canopy.tray.pose import complete_frame
from canopy.tray.sight import Sight, see_trays
from canopy.tray.unaided import locate_unaided

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Box:
    """A part of the picture that holds one tray, in photo pixels.

    Attributes
    ----------
    left, top, right, bottom : float
    """

    left: float
    top: float
    right: float
    bottom: float


def locate_among(photo: Photo, record: TrayRecord, *, settings: TraySettings) -> Frame:
    """Find one of several trays that carry no markers: the `place`-th in reading order.

    Trays are told apart where the picture is seen to show trays; the one that is meant is then looked for in a part of
    the picture around it, as a lone tray would be.

    Raises
    ------
    TrayNotFound
        `which_tray` when another number of trays is seen than the record says, or their order is not clear; else as
        `locate_unaided`.
    """
    boxes = see_boxes(see_trays(photo.rgb), settings=settings.unaided)
    if len(boxes) == 1:  # close together they are seen as one; what is cut from it must still be a tray of this layout
        boxes = _split(boxes[0], record.trays_in_picture)
    if len(boxes) != record.trays_in_picture:
        raise TrayNotFound(
            "which_tray",
            f"{photo.name}: {len(boxes)} whole trays are seen, the tray list names {record.trays_in_picture}; "
            "photograph each on its own, or give `corners` for each in the tray list",
        )
    box = boxes[reading_order(boxes, name=photo.name, settings=settings.unaided)[record.place - 1]]
    part, left, top = _cut_out(photo, box, settings.unaided)
    seen = locate_unaided(part, record, settings=settings)
    return _in_whole(seen, photo, record, left=left, top=top, settings=settings)


def see_boxes(sight: Sight, *, settings: UnaidedSettings) -> list[Box]:
    """Where whole trays are seen: connected parts of the map of trays, less its lines; those cut off are left out."""
    mask = ((sight.any_tray > settings.seen_from) & (sight.line < settings.parted_from)).astype(np.uint8)
    parted = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    _, _, stats, _ = cv2.connectedComponentsWithStats(parted, connectivity=4)
    rows, columns = mask.shape
    boxes = []
    for x, y, width, height, area in stats[1:].tolist():
        whole = x > 1 and y > 1 and x + width < columns - 1 and y + height < rows - 1
        if whole and area >= settings.min_area_share * mask.size:
            ends = sight.to_photo(np.array([[x - 0.5, y - 0.5], [x + width - 0.5, y + height - 0.5]]))
            boxes.append(Box(*ends[0].tolist(), *ends[1].tolist()))
    return boxes


def _split(box: Box, parts: int) -> list[Box]:
    """A box cut into equal ones across its longer side."""
    width, height = box.right - box.left, box.bottom - box.top
    ends = np.linspace(0, 1, parts + 1)
    if width >= height:
        cuts = box.left + ends * width
        return [Box(float(a), box.top, float(b), box.bottom) for a, b in itertools.pairwise(cuts)]
    cuts = box.top + ends * height
    return [Box(box.left, float(a), box.right, float(b)) for a, b in itertools.pairwise(cuts)]


def reading_order(boxes: list[Box], *, name: str, settings: UnaidedSettings) -> list[int]:
    """Numbers of the boxes, from the upper left to the lower right, row by row.

    Raises
    ------
    TrayNotFound
        `which_tray` where two are neither clearly beside each other nor clearly one above the other.
    """
    before = np.zeros(len(boxes), int)
    for i, j in itertools.combinations(range(len(boxes)), 2):
        a, b = boxes[i], boxes[j]
        shared = min(a.bottom, b.bottom) - max(a.top, b.top)
        share = shared / max(min(a.bottom - a.top, b.bottom - b.top), 1e-9)
        if settings.above_share < share < settings.beside_share:
            raise TrayNotFound(
                "which_tray",
                f"{name}: two trays lie aslant of each other, so which is the first is not clear; put them in line, or "
                "give `corners` for each in the tray list",
            )
        first_is_i = a.left + a.right < b.left + b.right if share >= settings.beside_share else a.top < b.top
        before[j if first_is_i else i] += 1
    if sorted(before) != list(range(len(boxes))):
        raise TrayNotFound("which_tray", f"{name}: the trays lie in no rows; give `corners` for each in the tray list")
    return [int(k) for k in np.argsort(before)]


def _cut_out(photo: Photo, box: Box, settings: UnaidedSettings) -> tuple[Photo, int, int]:
    """The part of a photo with a tray in its middle, and where its upper left pixel lies."""
    height, width = photo.rgb.shape[:2]
    reach_x, reach_y = (settings.room_share * side for side in (box.right - box.left, box.bottom - box.top))
    left, top = max(0, int(box.left - reach_x)), max(0, int(box.top - reach_y))
    right, bottom = min(width, int(box.right + reach_x) + 1), min(height, int(box.bottom + reach_y) + 1)
    part = np.ascontiguousarray(photo.rgb[top:bottom, left:right])
    return replace(photo, rgb=part, focal_length_px=None), left, top


def _in_whole(seen: Frame, photo: Photo, record: TrayRecord, *, left: int, top: int, settings: TraySettings) -> Frame:
    """A frame of a part of the photo as one of the whole, fitted again: there the lens has another middle."""
    places = np.concatenate([record.layout.outline_mm, record.layout.centres_mm()])
    height_px, width_px = photo.rgb.shape[:2]
    fit = fit_markers(
        places,
        np.zeros_like(places),
        seen.to_px(places) + np.array([left, top]),
        width_px=width_px,
        height_px=height_px,
        settings=settings,
    )
    frame = complete_frame(
        fit.px_from_mm,
        photo=photo,
        layout=record.layout,
        settings=settings,
        located_by=f"{seen.located_by}, tray {record.place} of {record.trays_in_picture}",
        k1=fit.k1,
        residual_px=seen.residual_px,
        camera_height_mm=record.camera_height_mm,
    )
    return require_plausible(frame, record.layout, name=photo.name, settings=settings)
