"""The map step, one page: a photo's bytes and its tray's record in, a reading out; no files, no clock, no state."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.errors import TrayNotFound
from canopy.measure import measure_cells, measure_tray
from canopy.measure.by_hand import VOUCHED, mark_by_hand
from canopy.measure.covered import covered_remarks, covered_share, mark_covered
from canopy.measure.doubts import clarity_remarks, require_scale, tray_remarks
from canopy.measure.height import known_heights
from canopy.measure.relight import Relight, light_remarks, read_light
from canopy.photo import Photo, check_quality, decode, require_sharp
from canopy.readiness import days_after_sowing, decide_tray, recipe_for, score_cells
from canopy.records import CropRecipe, Height, Layout, Reading, Remark, TrayRecord
from canopy.segment import Segmentation, segment_cells
from canopy.settings import Settings
from canopy.tray import Frame, Rectified, choose_layout, locate_tray, rectify, with_layout

BY_NAME: Literal["by name"] = "by name"
_WITHHOLD_COLOUR = frozenset({"purple_light", "colour_cast", "card_doubtful"})
_NO_DOUBT = frozenset({"file_date", "no_time", "colour_corrected", "uneven_light", "layout_chosen"})


@dataclass(frozen=True)
class Worked:
    """Everything that was made on the way to one reading, for callers that also draw.

    Attributes
    ----------
    photo : Photo
    frame : Frame
    rectified : Rectified
    segmentation : Segmentation
    reading : Reading
    tray : TrayRecord
        The record with its layout named.
    """

    photo: Photo
    frame: Frame
    rectified: Rectified
    segmentation: Segmentation
    reading: Reading
    tray: TrayRecord


@dataclass(frozen=True)
class Seen:
    """A photo with its tray located.

    Attributes
    ----------
    photo : Photo
    frame : Frame
    tray : TrayRecord
        With its layout named.
    remarks : tuple of Remark
        How sure a chosen layout is.
    """

    photo: Photo
    frame: Frame
    tray: TrayRecord
    remarks: tuple[Remark, ...]


def analyse(
    photo: bytes,
    tray: TrayRecord,
    *,
    settings: Settings,
    name: str = "photo",
    modified_at: datetime | None = None,
    recipe: CropRecipe | Literal["by name"] | None = BY_NAME,
) -> Reading:
    """What one photo says of one tray.

    Parameters
    ----------
    photo : bytes
        The file: JPEG, PNG, TIFF, WebP, HEIC.
    tray : TrayRecord
        What is known of the tray.
    settings : Settings
    name : str
        Path of the photo below its folder; starts messages, fills the `photo` column, may hold the time of exposure.
    modified_at : datetime, optional
        The file's date, the last resort for the time of exposure.
    recipe : CropRecipe, None or "by name"
        How to score; None: measure and score on nothing. By default the shipped recipe of the tray's crop and stage.

    Returns
    -------
    Reading
        The same for the same arguments, always.

    Raises
    ------
    PhotoError
        The photo gives no reading; `code` is a key of `canopy.reasons.REASONS`.
    UsageError
        The tray's crop or stage has no recipe.
    """
    return work_through(photo, tray, settings=settings, name=name, modified_at=modified_at, recipe=recipe).reading


def work_through(
    photo: bytes,
    tray: TrayRecord,
    *,
    settings: Settings,
    name: str = "photo",
    modified_at: datetime | None = None,
    recipe: CropRecipe | Literal["by name"] | None = BY_NAME,
) -> Worked:
    """As `analyse`, with everything made on the way."""
    if recipe == BY_NAME:
        recipe = recipe_for(tray.crop, tray.stage) if tray.crop else None
    seen = see_tray(photo, tray, name=name, modified_at=modified_at, settings=settings)
    picture, frame, tray = seen.photo, seen.frame, seen.tray
    require_scale(frame.mm_per_px / picture.reduction, stage=tray.stage, settings=settings.photo, name=name)
    das = days_after_sowing(tray.sown_on, picture.taken_at, tray=name)
    mm_per_px = max(_needed_mm_per_px(tray, settings), frame.mm_per_px)
    rectified = rectify(picture, frame, tray.layout, mm_per_px=mm_per_px, margin_mm=_margin_mm(tray, settings))
    height = known_heights(tray, recipe, frame, das=das)
    segmentation = segment_cells(
        rectified, tray.layout, stage=tray.stage, height=height, settings=settings.segment, by_hand=tray.by_hand
    )
    light = read_light(picture, frame, rectified, segmentation, tray.layout, settings=settings)
    remarks = seen.remarks + _remarks(
        picture, frame, rectified, segmentation, light=light, layout=tray.layout, name=name, settings=settings
    )
    colour_withheld = any(remark.code in _WITHHOLD_COLOUR for remark in remarks)
    measured = _measured(
        rectified, segmentation, tray, light=light, height=height, colour_withheld=colour_withheld, settings=settings
    )
    remarks += covered_remarks(measured)
    scored = score_cells(
        _labelled(measured, picture, tray),
        recipe,
        taken_at=picture.taken_at,
        sown_on=tray.sown_on,
        treatments=tray.treatments,
        colour_withheld=colour_withheld,
        settings=settings.readiness,
    )
    cells = scored.cells.drop(columns=VOUCHED, errors="ignore")
    trays = measure_tray(cells, tray.layout, seed=_seed(tray, name), settings=settings.measure)
    decided = decide_tray(scored, recipe, settings=settings.readiness)
    trays = _labelled(trays, picture, tray, **_photo_fields(picture, frame, remarks), **decided)
    reading = Reading(name, tray.tray, cells, trays, scored.criteria, remarks)
    return Worked(picture, frame, rectified, segmentation, reading, tray)


def see_tray(
    photo: bytes, tray: TrayRecord, *, settings: Settings, name: str = "photo", modified_at: datetime | None = None
) -> Seen:
    """The first steps alone: decode, choose the layout where none is named, locate."""
    remarks: tuple[Remark, ...] = ()
    if tray.layout_choices:
        picture = decode(
            photo,
            name=name,
            modified_at=modified_at,
            min_long_side_px=settings.scale.choose_px,
            settings=settings.photo,
        )
        choice = choose_layout(picture, tray, settings=settings.tray)
        tray, remarks = with_layout(tray, choice.layout), (Remark("layout_chosen", choice.text),)
    needed = _needed_mm_per_px(tray, settings)
    picture, frame = _see(photo, tray, needed, name=name, modified_at=modified_at, settings=settings)
    return Seen(picture, frame, tray, remarks)


def _margin_mm(tray: TrayRecord, settings: Settings) -> float:
    """How much around the tray is looked at."""
    return 0.0 if tray.whole_picture else settings.scale.margin_mm


def _needed_mm_per_px(tray: TrayRecord, settings: Settings) -> float:
    width_mm, height_mm = (
        side + 2 * _margin_mm(tray, settings) for side in (tray.layout.outline_width_mm, tray.layout.outline_height_mm)
    )
    return settings.scale.needed(tray.stage, seen_mm2=width_mm * height_mm)


def _see(
    data: bytes,
    tray: TrayRecord,
    needed_mm_per_px: float,
    *,
    name: str,
    modified_at: datetime | None,
    settings: Settings,
) -> tuple[Photo, Frame]:
    """Decode no finer than needed and locate the tray; once more, finer, where that did not do."""
    tray_px = max(tray.layout.outline_width_mm, tray.layout.outline_height_mm) / needed_mm_per_px
    enough_px = math.ceil(tray_px / settings.scale.tray_fill_share)
    photo = decode(data, name=name, modified_at=modified_at, min_long_side_px=enough_px, settings=settings.photo)
    try:
        frame = locate_tray(photo, tray, settings=settings.tray)
        finer = frame.mm_per_px / needed_mm_per_px
        if photo.reduction == 1 or finer <= settings.scale.coarser_allowed:
            return photo, frame
        enough_px = math.ceil(max(photo.rgb.shape[:2]) * finer)
    except TrayNotFound:
        if photo.reduction == 1:
            return photo, _locate(photo, tray, settings)
        enough_px = max(photo.full_width_px, photo.full_height_px)
    photo = decode(data, name=name, modified_at=modified_at, min_long_side_px=enough_px, settings=settings.photo)
    return photo, _locate(photo, tray, settings)


def _locate(photo: Photo, tray: TrayRecord, settings: Settings) -> Frame:
    """The tray's frame; a tray that is not found because the photo is blurred is refused for the blur."""
    try:
        return locate_tray(photo, tray, settings=settings.tray)
    except TrayNotFound:
        # A tray in view is no longer than the picture: the true scale is no finer, and the true blur no less.
        tray_mm = max(tray.layout.outline_width_mm, tray.layout.outline_height_mm)
        require_sharp(photo.rgb, mm_per_px=tray_mm / max(photo.rgb.shape[:2]), settings=settings.photo, name=photo.name)
        raise


def _measured(
    rectified: Rectified,
    segmentation: Segmentation,
    tray: TrayRecord,
    *,
    light: Relight,
    height: Height,
    colour_withheld: bool,
    settings: Settings,
) -> pd.DataFrame:
    """The cells as measured, those under something that is no plant marked."""
    measured = measure_cells(
        rectified,
        segmentation,
        tray.layout,
        height=height,
        stage=tray.stage,
        settings=settings.measure,
        light=light,
        colour_judged=not colour_withheld,
    )
    look = settings.measure.light.covered
    share = covered_share(rectified, segmentation, tray.layout, field=light.field, settings=look)
    return mark_by_hand(mark_covered(measured, share, settings=look), tray.by_hand)


def _remarks(
    photo: Photo,
    frame: Frame,
    rectified: Rectified,
    segmentation: Segmentation,
    *,
    light: Relight,
    layout: Layout,
    name: str,
    settings: Settings,
) -> tuple[Remark, ...]:
    """Everything that may be said against the photo; a blurred one is refused."""
    part = rectified.tray_part(layout)
    remarks = check_quality(
        rectified.rgb[part],
        mm_per_px=rectified.mm_per_px,
        settings=settings.photo,
        name=name,
        plants=_as_mask(segmentation.cover[part] >= 0.5),
    )
    repaired = light.repairs_cast(settings.measure.light)
    found = [remark for remark in remarks if not (repaired and remark.code == "colour_cast")]
    purple = any(remark.code == "purple_light" for remark in remarks)
    said = light_remarks(light, settings=settings.measure.light)
    found += [remark for remark in said if not (purple and remark.code == "colour_cast")]
    found += tray_remarks(rectified, frame, layout, settings=settings.photo, name=name)
    found += clarity_remarks(
        segmentation,
        rectified,
        layout,
        may_refuse=not purple,
        settings=settings.photo,
        name=name,
    )
    if frame.mm_per_px > settings.scale.doubtful_mm_per_px:
        found.append(Remark("coarse", f"one pixel covers {frame.mm_per_px:.2f} mm; small plants cover few pixels"))
    if segmentation.agreement < settings.segment.agreement_floor:
        text = f"network and colour classifier agree to {segmentation.agreement:.2f} only (Dice); look at the outlines"
        found.append(Remark("opinions_differ", text))
    if photo.taken_at_source == "file date":
        found.append(Remark("file_date", "the photo does not say when it was taken; the file's date is used"))
    if photo.taken_at is None:
        found.append(Remark("no_time", "the photo does not say when it was taken; the age of the plants is unknown"))
    return tuple(found)


def _as_mask(plants: NDArray[np.bool_]) -> NDArray[np.bool_] | None:
    """None without a plant, so that the whole picture is judged."""
    return plants if plants.any() else None


def _photo_fields(photo: Photo, frame: Frame, remarks: tuple[Remark, ...]) -> dict[str, object]:
    doubts = [remark.text for remark in remarks if remark.code not in _NO_DOUBT]
    return {
        "quality": "doubtful" if doubts else "good",
        "quality_reason": "; ".join(doubts) or pd.NA,
        "located_by": frame.located_by,
        "mm_per_px": frame.mm_per_px / photo.reduction,
        "tilt_deg": frame.tilt_deg,
    }


def _labelled(table: pd.DataFrame, photo: Photo, tray: TrayRecord, **fields: object) -> pd.DataFrame:
    """The table with photo, tray, time and other fields filled in; types are kept."""
    taken_at = photo.taken_at.isoformat(timespec="seconds") if photo.taken_at is not None else pd.NA
    values = {"photo": photo.name, "tray": tray.tray, "taken_at": taken_at, **fields}
    columns = {
        name: pd.Series([pd.NA if value is None else value], dtype=table[name].dtype).array.repeat(len(table))
        for name, value in values.items()
    }
    return table.assign(**columns)


def _seed(tray: TrayRecord, name: str) -> int:
    """Seed of the permutations: the same for the same tray and photo on every machine."""
    return int.from_bytes(hashlib.sha256(f"{tray.tray}\n{name}".encode("utf-8", "surrogateescape")).digest()[:4])
