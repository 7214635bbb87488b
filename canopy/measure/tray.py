"""One row for a whole tray: emergence, cover, evenness and pattern, from the table of its cells."""

from __future__ import annotations

import numpy as np
import pandas as pd

from canopy.measure import evenness
from canopy.measure.columns import TRAY_COLUMNS, as_table
from canopy.measure.pattern import describe_pattern
from canopy.measure.spatial import edge_effect, geary_c, moran_i
from canopy.records import Layout
from canopy.settings import MeasureSettings


def measure_tray(cells: pd.DataFrame, layout: Layout, *, seed: int, settings: MeasureSettings) -> pd.DataFrame:
    """Measures of a tray from the table of its cells.

    Parameters
    ----------
    cells : pandas.DataFrame
        As returned by `canopy.measure.area.measure_cells`: one row per cell in reading order.
    layout : Layout
    seed : int
        Of the permutations; derive it from tray and photo, so that p repeats.
    settings : MeasureSettings

    Returns
    -------
    tray : pandas.DataFrame
        One row, the columns of `canopy.measure.columns.TRAY_COLUMNS` with their types; columns that other steps fill
        are missing, as are measures that are not defined for the tray (no plants, no inner cells).
    """
    if len(cells) != layout.cells:
        raise ValueError(f"cells: {len(cells)} rows, but layout {layout.name} has {layout.cells} cells")
    planted = (cells["state"] == "planted").fillna(False).to_numpy(dtype=bool)
    shown = int(cells["state"].notna().sum())
    areas = np.where(planted, cells["area_mm2"].to_numpy(dtype=np.float64), np.nan)
    grid = areas.reshape(layout.rows, layout.columns)
    moran = moran_i(grid, permutations=settings.pattern.permutations, seed=seed)
    edge = edge_effect(grid)
    some = bool(planted.any())
    return as_table(
        {
            "cells": [layout.cells],
            "planted": [int(planted.sum())],
            "emergence": [evenness.emergence(int(planted.sum()), shown)],
            "cover": [float(np.nansum(areas)) / (shown * layout.cell_area_mm2) if shown else np.nan],
            "mean_area_mm2": [float(areas[planted].mean()) if some else np.nan],
            "cv_area": [evenness.cv(areas)],
            "robust_cv": [evenness.robust_cv(areas)],
            "cu": [evenness.christiansen_cu(areas)],
            "du_lq": [evenness.du_lq(areas)],
            "gini": [evenness.gini(areas)],
            "moran_i": [moran.i],
            "moran_p": [moran.p],
            "geary_c": [geary_c(grid)],
            "edge_effect": [edge.effect],
            "edge_p": [edge.p],
            "evenness": [evenness.evenness_score(areas, cells=shown)],
            "pattern": [describe_pattern(grid, moran_p=moran.p, settings=settings.pattern)],
        },
        columns=TRAY_COLUMNS,
    )
