"""What the leaves' height over the rim does to their seen area, and how far it is known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from canopy.records import CropRecipe, Height, TrayRecord
from canopy.settings.measure import AreaSettings
from canopy.tray.frame import Frame

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class HeightEffect:
    """Correction of seen areas; all (cells,).

    Attributes
    ----------
    factor : ndarray
        True area = factor · seen area, ((d − h)/d)² and less where the plant shows its side; 1 where heights are not
        known.
    scale : ndarray
        Length at the leaves' height over length seen on the rim plane, (d − h)/d; 1 where heights are not known.
    height_mm : ndarray
        Leaf height h used; NaN where not known.
    shift_ln : ndarray
        Middle of the likely values of ln(true area/corrected area): 0 where heights are known, below 0 otherwise.
    sd_ln : ndarray
        Standard uncertainty around that middle.
    """

    factor: FloatArray
    scale: FloatArray
    height_mm: FloatArray
    shift_ln: FloatArray
    sd_ln: FloatArray


def area_factor(leaf_mm: FloatArray | float, camera_mm: float) -> FloatArray:
    """((d − h)/d)²: what turns the area seen on the rim plane into the area at height h under a lens at height d."""
    return np.asarray(((camera_mm - np.asarray(leaf_mm, dtype=np.float64)) / camera_mm) ** 2)


def top_area(
    slant_mm2: FloatArray, leafy_mm: FloatArray, slant: FloatArray, *, tiered: float, side_from: float
) -> FloatArray:
    """Area from straight above of round plants seen at a slant, when they show their side.

    An upright cylinder of width D seen at the angle θ against straight down adds the shadow of its wall to its top:
    slant area = π/4·D² + D·H·tan θ. Of a plant with leaves in tiers only the height over `side_from` widths adds,
    H = leafy − side_from·D, since its lower leaves reach out and are seen from above anyway.

    Parameters
    ----------
    slant_mm2 : (cells,) ndarray
        Area seen at a slant, at the plant's own scale, 0 and up.
    leafy_mm : (cells,) ndarray
        Top over the first leaves, 0 and up.
    slant : (cells,) ndarray
        tan θ, 0 and up.
    tiered : float
        Share of the wall that is full of leaves, 0..1.
    side_from : float

    Returns
    -------
    (cells,) ndarray
        At most `slant_mm2`: the positive root of the equation above in D, times π/4.
    """
    reach = tiered * slant
    wall, square = reach * leafy_mm, math.pi / 4 - reach * side_from
    # The form of the root that stays exact where `square` is near 0; the root is real wherever the wall shows.
    root = np.sqrt(np.maximum(wall**2 + 4 * square * slant_mm2, 0.0))
    width = np.divide(2 * slant_mm2, wall + root, out=np.zeros(slant_mm2.size), where=wall + root > 0)
    shows = leafy_mm > side_from * np.sqrt(4 * slant_mm2 / math.pi)
    return np.asarray(np.where(shows, math.pi / 4 * width**2, slant_mm2))


def known_heights(tray: TrayRecord, recipe: CropRecipe | None, frame: Frame, *, das: int | None) -> Height:
    """Heights as typed, else from the recipe's table and the lens, else unknown.

    Parameters
    ----------
    tray : TrayRecord
        What was typed, mm.
    recipe : CropRecipe or None
        Its table of heights, and how far its plants are tiered.
    frame : Frame
        Where the lens hangs, when that is known.
    das : int or None
        Days after sowing; None where unknown.
    """
    canopy_mm, canopy_source, canopy_rel_sd = tray.canopy_height_mm, "typed", 0.0
    if canopy_mm is None:
        canopy_source = "unknown"
        if recipe is not None and (of_recipe := recipe.height_at(das)) is not None:
            (canopy_mm, canopy_rel_sd), canopy_source = of_recipe, "recipe"
    camera_mm, camera_source = tray.camera_height_mm, "typed"
    centre_mm = (tray.layout.outline_width_mm / 2, tray.layout.outline_height_mm / 2)
    nadir_mm = (frame.camera_mm[0], frame.camera_mm[1]) if frame.camera_mm is not None else centre_mm
    if camera_mm is None:
        seen = frame.camera_mm
        camera_mm, camera_source = (seen[2], "lens") if seen is not None else (None, "unknown")
    tiered = recipe.tiered if recipe is not None else None
    return Height(canopy_mm, canopy_source, camera_mm, camera_source, nadir_mm, tiered, canopy_rel_sd)


def height_effect(
    seen_mm2: FloatArray,
    planted: NDArray[np.bool_],
    slant: FloatArray,
    *,
    height: Height,
    stage: str,
    settings: AreaSettings,
) -> HeightEffect:
    """Correction for height and its uncertainty; heights of single plants follow their size within the tray.

    `slant` is the tangent of the view of each plant against straight down; without meaning where heights are unknown.
    """
    relative = _relative_heights(seen_mm2, planted, settings=settings)
    if height.canopy_mm is not None and height.camera_mm is not None:
        # On a mat one shoot hides the side of the next, and a tile's own width says nothing.
        slant = np.zeros(slant.size) if stage == "mat" else slant
        return _known(seen_mm2, relative, slant, height, settings=settings)
    likely = settings.of_stage(stage)
    low, high = likely.canopy_low_mm, likely.canopy_high_mm
    if height.canopy_mm is not None:
        low = high = height.canopy_mm
    near, far = settings.camera_low_mm, settings.camera_high_mm
    if height.camera_mm is not None:
        near = far = height.camera_mm
    least = np.log(area_factor(_leaf_height(relative, high, near, settings=settings), near))
    most = np.log(area_factor(_leaf_height(relative, low, far, settings=settings), far))
    # The likely values are read as a 95 % range.
    sd = (most - least) / (2 * NormalDist().inv_cdf(0.975))
    ones = np.ones(relative.size)
    return HeightEffect(ones, ones, np.full(relative.size, np.nan), (most + least) / 2, sd)


def _known(
    seen_mm2: FloatArray,
    relative: FloatArray,
    slant: FloatArray,
    height: Height,
    *,
    settings: AreaSettings,
) -> HeightEffect:
    canopy_mm, camera_mm = float(height.canopy_mm or 0.0), float(height.camera_mm or 0.0)
    leaf = _leaf_height(relative, canopy_mm, camera_mm, settings=settings)
    flat = area_factor(leaf, camera_mm)
    tall = (canopy_mm + settings.medium_below_rim_mm) * relative
    slant_mm2 = seen_mm2 * flat
    side, side_sd = _side(slant_mm2, tall, slant, height.tiered, settings=settings)
    # What shows of the side grows with the height.
    side_sd = np.hypot(side_sd, height.canopy_rel_sd * np.log(side))
    width = np.sqrt(4 * np.where(slant_mm2 > 0, slant_mm2, np.inf) / math.pi)
    # ln factor = 2 ln(1 − h/d): an error e of h moves it by 2e/(d − h), one of d by 2(h/d)·e/(d − h).
    rel_sd = math.hypot(settings.height_rel_sd, height.canopy_rel_sd)
    sd_mm = rel_sd * (leaf + settings.medium_below_rim_mm)
    flat_sd = 2 / (camera_mm - leaf) * np.hypot(sd_mm, leaf * settings.camera_rel_sd)
    sd = np.sqrt(flat_sd**2 + side_sd**2 + (settings.lean_sd * slant * tall / width) ** 2)
    return HeightEffect(flat * side, np.sqrt(flat), leaf, np.zeros(leaf.size), sd)


def _side(
    slant_mm2: FloatArray, tall: FloatArray, slant: FloatArray, tiered: float | None, *, settings: AreaSettings
) -> tuple[FloatArray, FloatArray]:
    """Share of the slant area that is left without the side, and its standard uncertainty as a logarithm."""

    leafy = np.maximum(tall - settings.side_bare_mm, 0.0)

    def left(share: float) -> FloatArray:
        area = top_area(slant_mm2, leafy, slant, tiered=share, side_from=settings.side_from)
        return np.asarray(np.where(slant_mm2 > 0, area / np.where(slant_mm2 > 0, slant_mm2, 1.0), 1.0))

    doubt = settings.side_unknown_sd if tiered is None else settings.side_sd
    return left(tiered or 0.0), -doubt * np.log(left(1.0))


def _leaf_height(relative: FloatArray, canopy_mm: float, camera_mm: float, *, settings: AreaSettings) -> FloatArray:
    # Plants grow from the medium, which lies below the rim: young ones may not reach up to the rim plane at all.
    stem_mm = settings.medium_below_rim_mm
    leaf = settings.leaf_level * (canopy_mm + stem_mm) * relative - stem_mm
    return np.minimum(leaf, settings.height_max_share * camera_mm)


def _relative_heights(seen_mm2: FloatArray, planted: NDArray[np.bool_], *, settings: AreaSettings) -> FloatArray:
    """Height of each plant relative to the tray's median plant, from its size; 1 without plants."""
    if not planted.any():
        return np.ones(seen_mm2.size)
    relative = (seen_mm2 / np.median(seen_mm2[planted])) ** settings.height_exponent
    return np.clip(relative, settings.height_ratio_min, settings.height_ratio_max)
