"""Is the photo good enough, and for what: refuse the blurred, remark on light and clipping."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.errors import PhotoError
from canopy.photo.glare import glare_share
from canopy.photo.light import cast_chroma, clipped_share, green_ratio, light_kind
from canopy.photo.sharpness import edge_blurs_px, laplacian_variance
from canopy.records import Remark
from canopy.settings import PhotoSettings


def check_quality(
    rgb: NDArray[np.uint8],
    *,
    mm_per_px: float,
    settings: PhotoSettings,
    name: str = "photo",
    plants: NDArray[np.bool_] | None = None,
) -> tuple[Remark, ...]:
    """Judge the pixels that will be measured.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
        Decoded or rectified picture, sRGB.
    mm_per_px : float
        Its scale.
    settings : PhotoSettings
    name : str
        Starts the message.
    plants : (M, N) bool ndarray, optional
        Plant pixels: clipping is then judged on them alone, with the tighter bound, and colour cast on all others.

    Returns
    -------
    tuple of Remark
        Codes `dark`, `purple_light`, `colour_cast`, `clipped`, `glare`; the area is measured with any of them.

    Raises
    ------
    PhotoError
        Code `blurred`, or `moved` where edges of one direction only are.
    """
    require_sharp(rgb, mm_per_px=mm_per_px, settings=settings, name=name)
    glare = _glare_remarks(rgb, mm_per_px, settings)
    return (*_light_remarks(rgb, plants, settings), *_clipping_remarks(rgb, plants, settings), *glare)


def require_sharp(rgb: NDArray[np.uint8], *, mm_per_px: float, settings: PhotoSettings, name: str = "photo") -> None:
    """Refuse a blurred picture; also of use where the markers were not found, with a scale that is roughly right.

    Raises
    ------
    PhotoError
        Code `blurred`, or `moved` where edges of one direction only are.
    """
    blurs_mm = blurs_mm_of(rgb, mm_per_px=mm_per_px, settings=settings)
    bound_mm = max(settings.max_blur_mm, settings.max_blur_px * mm_per_px)
    if not blurs_mm or max(blurs_mm) <= bound_mm:
        return
    worst, best = max(blurs_mm), min(blurs_mm)
    if worst > settings.motion_ratio * best:
        raise PhotoError(
            "moved",
            f"{name}: edges are smeared by {worst:.1f} mm one way, {best:.1f} mm the other (at most {bound_mm:.1f}); "
            "rest the camera, give more light or a shorter exposure",
        )
    raise PhotoError(
        "blurred",
        f"{name}: edges are blurred by {worst:.1f} mm (at most {bound_mm:.1f}); hold still, focus, take it again",
    )


def blur_mm_of(rgb: NDArray[np.uint8], *, mm_per_px: float, settings: PhotoSettings) -> float | None:
    """Edge blur (standard deviation) in mm at the rim, in the worst direction; None when no edge stands out."""
    return max(blurs_mm_of(rgb, mm_per_px=mm_per_px, settings=settings), default=None)


def blurs_mm_of(rgb: NDArray[np.uint8], *, mm_per_px: float, settings: PhotoSettings) -> list[float]:
    """Edge blur (standard deviation) in mm at the rim for each direction that shows enough edges (`edge_blurs_px`)."""
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    shrink = max(1, round(settings.blur_mm_per_px / mm_per_px))
    if shrink > 1:
        grey = cv2.resize(grey, (grey.shape[1] // shrink, grey.shape[0] // shrink), interpolation=cv2.INTER_AREA)
    return [blur * mm_per_px * shrink for blur in edge_blurs_px(np.asarray(grey, np.uint8), settings=settings)]


def sharpness(rgb: NDArray[np.uint8], *, mm_per_px: float, settings: PhotoSettings) -> float:
    """Laplacian variance of the 8-bit grey picture at the fixed scale `sharpness_mm_per_px`.

    For charts of one camera over time; a photo that falls far below its camera's median has lost focus.
    """
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    scale = mm_per_px / settings.sharpness_mm_per_px
    size = (max(1, round(grey.shape[1] * scale)), max(1, round(grey.shape[0] * scale)))
    kind = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    return laplacian_variance(np.asarray(cv2.resize(grey, size, interpolation=kind), np.uint8))


def _light_remarks(
    rgb: NDArray[np.uint8], plants: NDArray[np.bool_] | None, settings: PhotoSettings
) -> tuple[Remark, ...]:
    kind = light_kind(rgb, plants=plants, settings=settings)
    if kind == "dark":
        text = f"nine tenths of the picture are darker than code {settings.dark_code:g} of 255; give more light"
        return (Remark("dark", text),)
    if kind == "purple":
        ratio = green_ratio(rgb, settings=settings)
        text = f"green is at most {ratio:.2f} of red + blue (white light: 0.50); colour is not judged"
        return (Remark("purple_light", text),)
    if kind == "coloured":
        chroma = cast_chroma(rgb, plants=plants, settings=settings) or 0.0
        text = f"grey looks coloured (chroma {chroma:.0f}, at most {settings.cast_chroma:g}); colours are doubtful"
        return (Remark("colour_cast", text),)
    return ()


def _clipping_remarks(
    rgb: NDArray[np.uint8], plants: NDArray[np.bool_] | None, settings: PhotoSettings
) -> tuple[Remark, ...]:
    share = clipped_share(rgb, plants, settings=settings)
    bound = settings.clipped_picture_share if plants is None else settings.clipped_plant_share
    if share <= bound:
        return ()
    what = "picture" if plants is None else "plants"
    text = f"{100 * share:.0f} % of the {what} is over- or underexposed (at most {100 * bound:g} %)"
    return (Remark("clipped", text),)


def _glare_remarks(rgb: NDArray[np.uint8], mm_per_px: float, settings: PhotoSettings) -> tuple[Remark, ...]:
    share = glare_share(rgb, mm_per_px=mm_per_px, settings=settings)
    if share <= settings.glare_share:
        return ()
    text = f"lamps are mirrored on {100 * share:.1f} % of the tray (at most {100 * settings.glare_share:g} %)"
    return (Remark("glare", text),)
