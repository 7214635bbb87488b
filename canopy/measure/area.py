"""What each cell bears: area with its range, place, shape and colour, one row per cell."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.measure.columns import CELL_COLUMNS, as_table
from canopy.measure.health import plant_colours, plant_texture
from canopy.measure.height import HeightEffect, height_effect
from canopy.measure.pixels import PlantPixels, centroids_mm, plant_pixels
from canopy.measure.relight import Relight
from canopy.measure.shape import LabelImage, Shapes, label_raster, plant_shapes
from canopy.records import Height, Layout
from canopy.segment.result import Segmentation
from canopy.settings.measure import AreaSettings, MeasureSettings
from canopy.tray.rectify import Rectified

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def measure_cells(
    rectified: Rectified,
    segmentation: Segmentation,
    layout: Layout,
    *,
    height: Height,
    stage: str,
    settings: MeasureSettings,
    light: Relight | None = None,
    colour_judged: bool = True,
) -> pd.DataFrame:
    """Measure every cell of a tray.

    Parameters
    ----------
    rectified : Rectified
    segmentation : Segmentation
        Of the same raster.
    layout : Layout
    height : Height
        When known, areas, widths and places are those at the leaves' own height, without the side that tall tiered
        plants show; else those on the rim plane, and the range of area covers the likely heights of the stage.
    stage : str
        `seedling`, `finish`, `mat` or empty.
    settings : MeasureSettings
    light : Relight, optional
        Colour columns are those of even white light as far as it is known; areas do not change.
    colour_judged : bool
        False: in this light (purple, say) a brown plant need not be brown, so that none is called dead for it.

    Returns
    -------
    cells : pandas.DataFrame
        One row per cell in reading order, the columns of `canopy.measure.columns.CELL_COLUMNS` with their types.
        Measures of cells that are not planted are missing, as are the columns that later steps fill.

    Raises
    ------
    ValueError
        When rasters, layout and lists of cells do not belong together, or the stage is unknown.
    """
    _require_one_raster(rectified, segmentation, layout)
    least_mm2 = settings.area.of_stage(stage).min_area_mm2
    pixels = plant_pixels(segmentation, cells=layout.cells, mm_per_px=rectified.mm_per_px)
    labels = label_raster(pixels, segmentation.cover.shape)
    seen_mm2 = pixels.area_mm2
    near = _near_its_cell(labels, rectified, layout, candidates=seen_mm2 >= least_mm2, settings=settings.area)
    colours = plant_colours(rectified.rgb, pixels, settings=settings.colour, light=light)
    colours["texture"] = plant_texture(rectified, labels, cells=layout.cells, settings=settings.colour)
    shown = _shown_share(rectified, layout) >= settings.area.seen_min
    dead = colour_judged & (colours["brown_fraction"] >= settings.colour.dead_brown_min)
    planted = shown & (seen_mm2 >= least_mm2) & near & ~dead

    shapes = plant_shapes(labels, pixels)
    middles = centroids_mm(pixels, rectified)
    slant = _slant(middles, height)
    effect = height_effect(seen_mm2, planted, slant, height=height, stage=stage, settings=settings.area)
    measures = _areas(seen_mm2, pixels, segmentation, shapes=shapes, effect=effect, settings=settings.area)
    measures |= _places(middles, height=height, effect=effect) | colours
    measures |= {"diameter_mm": shapes.diameter_mm * np.sqrt(effect.factor)}
    measures |= {"compactness": shapes.compactness, "solidity": shapes.solidity, "contact": segmentation.contact}
    measures["cover"] = measures["area_mm2"] / layout.cell_area_mm2
    reasons = _reasons(seen_mm2, colours["brown_fraction"], shown=shown, near=near, dead=dead, least_mm2=least_mm2)
    return _table(layout, measures, planted=planted, shown=shown, reasons=reasons)


def _require_one_raster(rectified: Rectified, segmentation: Segmentation, layout: Layout) -> None:
    shape = rectified.rgb.shape[:2]
    for name in ("cover", "owner", "doubt"):
        if getattr(segmentation, name).shape != shape:
            raise ValueError(
                f"segmentation.{name}: shape {getattr(segmentation, name).shape}, but the rectified tray has {shape}; "
                "segment this raster"
            )
    for name in ("contact", "disputed"):
        if getattr(segmentation, name).shape != (layout.cells,):
            raise ValueError(
                f"segmentation.{name}: shape {getattr(segmentation, name).shape}, but layout {layout.name} has "
                f"{layout.cells} cells; segment with this layout"
            )


def _areas(
    seen_mm2: FloatArray,
    pixels: PlantPixels,
    segmentation: Segmentation,
    *,
    shapes: Shapes,
    effect: HeightEffect,
    settings: AreaSettings,
) -> dict[str, FloatArray]:
    """Area at the leaves' height and its range: independent doubts add as variances of ln area."""
    doubt_mm2 = pixels.total(segmentation.doubt.ravel().take(pixels.flat).astype(np.float64)) * pixels.mm_per_px**2
    edge_mm2 = settings.boundary_sd_px * pixels.mm_per_px * np.nan_to_num(shapes.outline_mm)
    some = np.where(seen_mm2 > 0, seen_mm2, np.nan)
    seen_sd = np.sqrt(
        (edge_mm2 / some) ** 2
        + (settings.doubt_weight * doubt_mm2 / some) ** 2
        + (settings.disputed_sd * np.nan_to_num(segmentation.disputed)) ** 2
        + settings.area_floor_rel_sd**2
    )
    sd = np.hypot(seen_sd, effect.sd_ln)
    area = some * effect.factor
    z = NormalDist().inv_cdf((1 + settings.range_level) / 2)
    # Unknown height shifts the range downwards, but the plant may lie flat: what the doubts of seeing span stays in it.
    return {
        "area_mm2": area,
        "area_low_mm2": area * np.exp(np.minimum(effect.shift_ln - z * sd, -z * seen_sd)),
        "area_high_mm2": area * np.exp(np.maximum(effect.shift_ln + z * sd, z * seen_sd)),
        "area_seen_mm2": some,
        "area_rel_sd": sd,
        "height_mm": effect.height_mm,
    }


def _slant(middles_mm: FloatArray, height: Height) -> FloatArray:
    """Tangent of the angle against straight down at which the lens sees each plant; 0 without plant or lens height."""
    if height.camera_mm is None:
        return np.zeros(len(middles_mm))
    away_mm = np.hypot(*(np.nan_to_num(middles_mm, nan=0.0) - height.nadir_mm).T)
    return np.where(np.isnan(middles_mm[:, 0]), 0.0, away_mm / height.camera_mm)


def _places(middles_mm: FloatArray, *, height: Height, effect: HeightEffect) -> dict[str, FloatArray]:
    """Centroids; a leaf above the rim appears pushed away from the point below the lens, which is undone when known."""
    if height.known:
        nadir = np.array(height.nadir_mm)
        middles_mm = nadir + (middles_mm - nadir) * effect.scale[:, None]
    return {"x_mm": middles_mm[:, 0], "y_mm": middles_mm[:, 1]}


def _cell_windows(rectified: Rectified, layout: Layout, *, half_pitches: float) -> NDArray[np.int_]:
    """(cells, 4) raster bounds x0, y0, x1, y1 (ends excluded) so many pitches round each centre, cut at the raster."""
    height_px, width_px = rectified.inside.shape
    centres = rectified.to_px(layout.centres_mm())
    reach = half_pitches * np.array([layout.pitch_x_mm, layout.pitch_y_mm]) / rectified.mm_per_px
    low = np.clip(np.ceil(centres - reach), 0, (width_px, height_px))
    high = np.clip(np.floor(centres + reach) + 1, low, np.maximum(low, (width_px, height_px)))
    return np.concatenate([low, high], axis=1).astype(int)


def _near_its_cell(
    labels: LabelImage, rectified: Rectified, layout: Layout, *, candidates: BoolArray, settings: AreaSettings
) -> BoolArray:
    """True where some of the plant's solid canopy lies near the centre of its cell."""
    near = np.zeros(layout.cells, dtype=bool)
    windows = _cell_windows(rectified, layout, half_pitches=settings.near_pitches)
    for c in np.flatnonzero(candidates):
        x0, y0, x1, y1 = windows[c]
        near[c] = bool((labels[y0:y1, x0:x1] == c + 1).any())
    return near


def _shown_share(rectified: Rectified, layout: Layout) -> FloatArray:
    """Share of each cell's pitch rectangle that the photo reaches; parts beyond the raster count as not reached."""
    windows = _cell_windows(rectified, layout, half_pitches=0.5)
    reached = np.prod(windows[:, 2:] - windows[:, :2], axis=1)
    if not rectified.inside.all():
        reached = np.array([np.count_nonzero(rectified.inside[y0:y1, x0:x1]) for x0, y0, x1, y1 in windows])
    # A window holds a whole number of pixel rows, so that a fully shown cell may count a little above or below 1.
    return np.asarray(np.minimum(reached * rectified.mm_per_px**2 / layout.cell_area_mm2, 1.0))


def _reasons(
    seen_mm2: FloatArray,
    brown: FloatArray,
    *,
    shown: BoolArray,
    near: BoolArray,
    dead: BoolArray,
    least_mm2: float,
) -> list[str | None]:
    """Why a cell is not planted, in words; None where it is."""
    texts: list[str | None] = []
    for c in range(seen_mm2.size):
        if not shown[c]:
            texts.append("the photo does not show the whole cell")
        elif seen_mm2[c] == 0:
            texts.append("no canopy seen")
        elif seen_mm2[c] < least_mm2:
            texts.append(f"only {seen_mm2[c]:.1f} mm² of canopy seen, a plant has at least {least_mm2:g} mm²")
        elif not near[c]:
            texts.append("canopy seen only outside the cell")
        elif dead[c]:
            texts.append(f"plant looks dead: {100 * brown[c]:.0f} % of it is brown")
        else:
            texts.append(None)
    return texts


def _table(
    layout: Layout,
    measures: dict[str, FloatArray],
    *,
    planted: BoolArray,
    shown: BoolArray,
    reasons: list[str | None],
) -> pd.DataFrame:
    number = np.arange(layout.cells)
    data: dict[str, object] = {name: np.where(planted, values, np.nan) for name, values in measures.items()}
    data |= {"row": number // layout.columns + 1, "col": number % layout.columns + 1, "cell": layout.names()}
    states = np.where(planted, "planted", "empty").astype(object)
    states[~shown] = pd.NA
    data |= {"state": states, "reason": [pd.NA if text is None else text for text in reasons]}
    return as_table(data, columns=CELL_COLUMNS)
