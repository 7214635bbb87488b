"""What speaks against a whole photo once the tray is found in it: too coarse, cut off, tilted, or not to be told."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.errors import PhotoError
from canopy.records import Layout, Remark
from canopy.segment.result import Segmentation
from canopy.settings import PhotoSettings
from canopy.tray.frame import Frame
from canopy.tray.rectify import Rectified


def require_scale(mm_per_px: float, *, stage: str, settings: PhotoSettings, name: str) -> None:
    """Refuse a photo in which plants of the stage cover too few pixels.

    Parameters
    ----------
    mm_per_px : float
        Of the photo at its full size.
    stage : str
        `seedling`, `finish`, `mat` or empty (as for seedlings).
    settings : PhotoSettings
    name : str
        Starts the message.

    Raises
    ------
    PhotoError
        Code `too_coarse`.
    """
    by_stage = {"finish": settings.finish_max_mm_per_px, "mat": settings.mat_max_mm_per_px}
    bound = by_stage.get(stage, settings.seedling_max_mm_per_px)
    if mm_per_px > bound:
        raise PhotoError(
            "too_coarse",
            f"{name}: one pixel covers {mm_per_px:.2f} mm (at most {bound:g} for stage {stage or 'unknown'}); "
            "go nearer, or photograph with more pixels",
        )


def tray_remarks(
    rectified: Rectified, frame: Frame, layout: Layout, *, settings: PhotoSettings, name: str
) -> tuple[Remark, ...]:
    """Tilt, and how much of the tray the photo shows: codes `tilted`, `cut_off`.

    Raises
    ------
    PhotoError
        Code `cut_off`: too little of the tray is in the photo.
    """
    found = []
    shown = shown_share(rectified, layout)
    if shown < settings.shown_share_min:
        raise PhotoError(
            "cut_off",
            f"{name}: only {100 * shown:.0f} % of the tray is in the photo (at least "
            f"{100 * settings.shown_share_min:g} %); step back and take it again",
        )
    if shown < settings.shown_share_good:
        text = f"{100 * shown:.1f} % of the tray is in the photo; cells outside it are left out"
        found.append(Remark("cut_off", text))
    if frame.tilt_deg > settings.max_tilt_good_deg:
        text = (
            f"camera tilted by {frame.tilt_deg:.0f}° (good up to {settings.max_tilt_good_deg:g}°); "
            "tall plants hide others"
        )
        found.append(Remark("tilted", text))
    return tuple(found)


def shown_share(rectified: Rectified, layout: Layout) -> float:
    """Share of the tray's outline, 0..1, that the photo reaches."""
    part = rectified.inside[rectified.tray_part(layout)]
    return np.count_nonzero(part) / part.size if part.size else 0.0


def doubt_share(segmentation: Segmentation, *, plants_only: bool = False) -> float:
    """Doubt of what is plant, summed, over canopy seen, summed; 0 without canopy.

    Half a pixel's doubt all along the outlines is usual; large values mean whole regions that may or may not be plant.
    With `plants_only` only pixels that were given to a plant count: ground in doubt beside the plants does not.
    """
    canopy = _total(segmentation.cover)
    doubt = segmentation.doubt[segmentation.owner > 0] if plants_only else segmentation.doubt
    return _total(doubt) / canopy if canopy > 0 else 0.0


def _total(values: NDArray[np.float32]) -> float:
    """Sum, counted in 64 bits; by OpenCV in a third of numpy's time."""
    return float(cv2.sumElems(values)[0])


def clarity_remarks(
    segmentation: Segmentation,
    rectified: Rectified,
    layout: Layout,
    *,
    may_refuse: bool,
    settings: PhotoSettings,
    name: str,
) -> tuple[Remark, ...]:
    """Whether plants can be told from all else: code `unclear`.

    Parameters
    ----------
    may_refuse : bool
        False in purple light, where areas are given whatever their doubt.

    Raises
    ------
    PhotoError
        Code `unclear`.
    """
    share = doubt_share(segmentation)
    if share < settings.doubt_said_from:
        return ()
    canopy_mm2 = _total(segmentation.cover) * rectified.mm_per_px**2
    little = canopy_mm2 < settings.unclear_cover_min * layout.outline_width_mm * layout.outline_height_mm
    of_plants = doubt_share(segmentation, plants_only=True)
    unclear = share > settings.unclear_doubt and of_plants > settings.unclear_plant_doubt
    if unclear and may_refuse and not little:
        raise PhotoError(
            "unclear",
            f"{name}: plants cannot be told from what is round them (doubt {share:.2f} of the canopy, at most "
            f"{settings.unclear_doubt:g}); give more and whiter light, go nearer, clear the ground",
        )
    return (Remark("unclear", f"plants are hard to tell from what is round them (doubt {share:.2f} of the canopy)"),)
