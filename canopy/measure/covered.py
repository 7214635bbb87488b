"""Cells with something over them that is neither plant nor tray: a hand, a hose, a tool, a sheet of paper.

Like parts of all cells are of one material (see `gainfield`). Where a whole stretch of the tray's pattern, rims
included, looks like nothing that repeats from cell to cell, something lies over it; the cells under it are to be looked
at.
"""

from __future__ import annotations

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.measure.colour import FloatArray, linear_to_lab
from canopy.measure.gainfield import GainField, mean_of_parts
from canopy.records import Layout, Remark
from canopy.records.text import TEXT_TYPE
from canopy.segment.result import Segmentation
from canopy.settings.light import CoveredSettings
from canopy.tray.rectify import Rectified

BoolArray = NDArray[np.bool_]


def covered_share(
    rectified: Rectified,
    segmentation: Segmentation,
    layout: Layout,
    *,
    field: GainField | None,
    settings: CoveredSettings,
) -> FloatArray:
    """Share of each cell, 0..1, over which something lies that is neither plant nor tray, (cells,).

    Parameters
    ----------
    rectified, segmentation : Rectified, Segmentation
    layout : Layout
    field : GainField or None
        Uneven light, taken out first.
    settings : CoveredSettings
    """
    if not settings.enabled or layout.kind == "mat":  # a mat has no cells whose parts could be alike
        return np.zeros(layout.cells)
    odd, known = odd_parts(rectified, segmentation, layout, field=field, settings=settings)
    region = _large_regions(odd, known, layout, settings)
    bins = settings.bins_per_cell
    by_cell = region.reshape(layout.rows, bins, layout.columns, bins).mean(axis=(1, 3))
    return np.asarray(by_cell.ravel(), np.float64)


def mark_covered(cells: pd.DataFrame, share: FloatArray, *, settings: CoveredSettings) -> pd.DataFrame:
    """The measured cells with those under something told so: to be inspected, and not called empty.

    Parameters
    ----------
    cells : pandas.DataFrame
        From `measure_cells`.
    share : (cells,) ndarray
        From `covered_share`.
    settings : CoveredSettings
    """
    under = share >= settings.cell_share_min
    if not under.any():
        return cells
    marked = cells.copy()
    texts = [f"covered: something lies over {100 * part:.0f} % of the cell" for part in share]
    reasons = [
        (text if pd.isna(old) else f"{text}; {old}") if here else old
        for here, text, old in zip(under, texts, cells["reason"], strict=True)
    ]
    marked["reason"] = pd.array(reasons, dtype=TEXT_TYPE)
    hidden = under & cells["state"].eq("empty").fillna(False).to_numpy(dtype=bool)
    marked.loc[hidden, "state"] = pd.NA
    return marked


def covered_remarks(cells: pd.DataFrame) -> tuple[Remark, ...]:
    """One remark, code `covered`, that names the cells."""
    told = zip(cells["cell"], cells["reason"].to_numpy(dtype=object, na_value=""), strict=True)
    names = [cell for cell, reason in told if reason.startswith("covered:")]
    if not names:
        return ()
    return (Remark("covered", f"something lies over {len(names)} cells ({', '.join(names)}); lift it, take it again"),)


def odd_parts(
    rectified: Rectified,
    segmentation: Segmentation,
    layout: Layout,
    *,
    field: GainField | None,
    settings: CoveredSettings,
) -> tuple[BoolArray, BoolArray]:
    """Parts of cells as they lie on the tray, (rows · bins, columns · bins): unlike like parts; comparable at all."""
    bins = settings.bins_per_cell
    seen, linear, at_mm = mean_of_parts(
        rectified, segmentation, layout, bins=bins, clear_mm=settings.clear_mm, share_min=settings.part_share_min
    )
    if field is not None:
        linear = linear * np.exp(-field.ln_gain(at_mm))
    lab = np.full((layout.cells, bins**2, 3), np.nan)
    lab.reshape(-1, 3)[seen] = linear_to_lab(linear)
    count = (~np.isnan(lab[..., 0])).sum(axis=0)
    enough = count >= max(settings.like_min, settings.like_share_min * layout.cells)
    odd = np.zeros(lab.shape[:2], dtype=bool)
    if enough.any():
        usual = np.nanmedian(lab[:, enough], axis=0)
        away = np.linalg.norm((lab[:, enough] - usual) * (settings.lightness_weight, 1, 1), axis=-1)
        spread = 1.4826 * np.nanmedian(away, axis=0)
        odd[:, enough] = away > np.maximum(settings.odd_de, settings.odd_spreads * spread)
    known = ~np.isnan(lab[..., 0]) & enough
    return _on_tray(odd, layout, bins), _on_tray(known, layout, bins)


def _on_tray(parts: BoolArray, layout: Layout, bins: int) -> BoolArray:
    grid = parts.reshape(layout.rows, layout.columns, bins, bins).transpose(0, 2, 1, 3)
    return np.asarray(grid.reshape(layout.rows * bins, layout.columns * bins))


def _large_regions(odd: BoolArray, known: BoolArray, layout: Layout, settings: CoveredSettings) -> BoolArray:
    """Odd parts that hang together, wide enough for a finger, over an area of some fingers, rims of cells included."""
    bins = settings.bins_per_cell
    part_mm = np.array([layout.pitch_x_mm, layout.pitch_y_mm]) / bins
    joined = cv2.morphologyEx(odd.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    width = np.maximum(1, np.round(settings.width_min_mm / part_mm)).astype(int)
    wide = cv2.morphologyEx(joined, cv2.MORPH_OPEN, np.ones((width[1], width[0]), np.uint8))
    number, labels, stats, _ = cv2.connectedComponentsWithStats(wide, connectivity=8)
    rim = np.zeros(odd.shape, bool)
    rim[::bins] = rim[bins - 1 :: bins] = True
    rim[:, ::bins] = rim[:, bins - 1 :: bins] = True
    region = np.zeros(odd.shape, bool)
    for label in range(1, number):
        here = labels == label
        area_mm2 = stats[label, cv2.CC_STAT_AREA] * part_mm.prod()
        known_rim = here & rim & known
        odd_rim = (known_rim & odd).sum() / max(1, known_rim.sum())
        if (
            area_mm2 >= settings.area_min_mm2
            and known_rim.sum() >= settings.rim_parts_min
            and odd_rim >= settings.rim_odd_min
        ):
            region |= here
    return region
