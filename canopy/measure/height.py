"""What the leaves' height over the rim does to their seen area, and how far it is known."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from canopy.records import Height
from canopy.settings.measure import AreaSettings

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class HeightEffect:
    """Correction of seen areas; all (cells,).

    Attributes
    ----------
    factor : ndarray
        True area = factor · seen area, ((d − h)/d)²; 1 where heights are not known.
    height_mm : ndarray
        Leaf height h used; NaN where not known.
    shift_ln : ndarray
        Middle of the likely values of ln(true area/corrected area): 0 where heights are known, below 0 otherwise.
    sd_ln : ndarray
        Standard uncertainty around that middle.
    """

    factor: FloatArray
    height_mm: FloatArray
    shift_ln: FloatArray
    sd_ln: FloatArray


def area_factor(leaf_mm: FloatArray | float, camera_mm: float) -> FloatArray:
    """((d − h)/d)²: what turns the area seen on the rim plane into the area at height h under a lens at height d."""
    return np.asarray(((camera_mm - np.asarray(leaf_mm, dtype=np.float64)) / camera_mm) ** 2)


def height_effect(
    seen_mm2: FloatArray, planted: NDArray[np.bool_], *, height: Height, stage: str, settings: AreaSettings
) -> HeightEffect:
    """Correction for height and its uncertainty; heights of single plants follow their size within the tray."""
    relative = _relative_heights(seen_mm2, planted, settings=settings)
    if height.canopy_mm is not None and height.camera_mm is not None:
        return _known(relative, height.canopy_mm, height.camera_mm, settings=settings)
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
    return HeightEffect(np.ones(relative.size), np.full(relative.size, np.nan), (most + least) / 2, sd)


def _known(relative: FloatArray, canopy_mm: float, camera_mm: float, *, settings: AreaSettings) -> HeightEffect:
    leaf = _leaf_height(relative, canopy_mm, camera_mm, settings=settings)
    # ln factor = 2 ln(1 − h/d): an error e of h moves it by 2e/(d − h), one of d by 2(h/d)·e/(d − h).
    sd_mm = settings.height_rel_sd * (leaf + settings.medium_below_rim_mm)
    sd = 2 / (camera_mm - leaf) * np.hypot(sd_mm, leaf * settings.camera_rel_sd)
    return HeightEffect(area_factor(leaf, camera_mm), leaf, np.zeros(leaf.size), sd)


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
