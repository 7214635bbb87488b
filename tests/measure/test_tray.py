from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from canopy.measure import CELL_COLUMNS, TRAY_COLUMNS, as_table, measure_tray
from canopy.measure.evenness import christiansen_cu, cv, du_lq, gini
from canopy.measure.spatial import moran_i
from canopy.settings import MeasureSettings

from .drawing import layout_of

SETTINGS = MeasureSettings()


def table_of(grid, *, states=None):
    """Cells table with these areas; NaN is an empty cell."""
    rows, columns = grid.shape
    layout = layout_of(rows, columns)
    number = np.arange(grid.size)
    state = np.where(np.isnan(grid.ravel()), "empty", "planted") if states is None else states
    data = {"row": number // columns + 1, "col": number % columns + 1, "cell": layout.names(), "state": state}
    return as_table({**data, "area_mm2": grid.ravel()}, columns=CELL_COLUMNS), layout


def test_measures_of_wheat(wheat):
    cells, layout = table_of(wheat)
    row = measure_tray(cells, layout, seed=1, settings=SETTINGS).iloc[0]
    # Published field, R values (see test_evenness, test_spatial).
    assert row["cv_area"] == pytest.approx(0.11606011, rel=1e-7)
    assert row["cu"] == pytest.approx(90.613753, rel=1e-7)
    assert row["gini"] == pytest.approx(0.065757932, rel=1e-7)
    assert row["moran_i"] == pytest.approx(0.405527973109, rel=1e-9)
    assert row["geary_c"] == pytest.approx(0.588194008116, rel=1e-9)
    assert row["moran_p"] == pytest.approx(0.001)
    assert row["edge_p"] == pytest.approx(0.711, abs=5e-4)
    assert row["emergence"] == 1
    assert row["evenness"] == pytest.approx(100 * (1 - 0.065757932), rel=1e-7)


def test_gaps_count_for_emergence_and_cover_only(radish):
    grid = 100 * radish["B3"][:6]
    grid[2, 4] = np.nan
    cells, layout = table_of(grid)
    row = measure_tray(cells, layout, seed=1, settings=SETTINGS).iloc[0]
    planted = int((~np.isnan(grid)).sum())
    assert (row["cells"], row["planted"]) == (60, planted)
    assert row["emergence"] == planted / 60
    assert row["cover"] == pytest.approx(np.nansum(grid) / (60 * 40 * 44))
    assert row["mean_area_mm2"] == pytest.approx(np.nanmean(grid))
    for column, measure in (("cv_area", cv), ("cu", christiansen_cu), ("du_lq", du_lq), ("gini", gini)):
        assert row[column] == measure(grid)
    assert row["moran_i"] == moran_i(grid).i


def test_cells_out_of_the_photo_do_not_count_as_gaps():
    grid = np.full((3, 4), 50.0)
    grid[:, 3] = np.nan
    cells, layout = table_of(grid, states=[*(["planted"] * 3), pd.NA] * 3)
    row = measure_tray(cells, layout, seed=1, settings=SETTINGS).iloc[0]
    assert row["emergence"] == 1
    assert row["cover"] == pytest.approx(50 / (40 * 44))


@pytest.mark.parametrize("grid", [np.full((3, 5), np.nan), np.full((3, 5), 20.0), np.full((1, 2), 7.0)])
def test_same_columns_and_types_whatever_grows(grid):
    cells, layout = table_of(grid)
    tray = measure_tray(cells, layout, seed=1, settings=SETTINGS)
    assert tray.columns.tolist() == [column.name for column in TRAY_COLUMNS]
    assert [str(dtype) for dtype in tray.dtypes] == [column.dtype for column in TRAY_COLUMNS]
    assert len(tray) == 1


def test_empty_tray():
    cells, layout = table_of(np.full((3, 5), np.nan))
    row = measure_tray(cells, layout, seed=1, settings=SETTINGS).iloc[0]
    assert (row["planted"], row["emergence"], row["cover"], row["evenness"]) == (0, 0, 0, 0)
    assert row[["mean_area_mm2", "cv_area", "cu", "du_lq", "gini", "moran_i", "moran_p", "edge_effect"]].isna().all()
    assert row["pattern"] == "too few plants to tell"


def test_repeats_and_leaves_its_input(radish):
    cells, layout = table_of(radish["B2"][:7])
    before = cells.copy(deep=True)
    first, second = (measure_tray(cells, layout, seed=9, settings=SETTINGS) for _ in range(2))
    pd.testing.assert_frame_equal(first, second, check_exact=True)
    pd.testing.assert_frame_equal(cells, before, check_exact=True)


def test_table_must_fit_the_layout():
    cells, _ = table_of(np.full((3, 5), 20.0))
    with pytest.raises(ValueError, match="15 rows, but layout drawn has 12 cells"):
        measure_tray(cells, layout_of(3, 4), seed=1, settings=SETTINGS)
