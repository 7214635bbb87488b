"""The pick list: which cells to cut or move on now, in walking order, with where the plant stands in the tray."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.pictures.palette import PICKED
from canopy.records import Reading

FloatArray = NDArray[np.float64]

PICK_COLUMNS = (
    "photo", "tray", "order", "cell", "row", "col", "x_mm", "y_mm",
    "decision", "readiness", "readiness_low", "readiness_high", "area_mm2", "diameter_mm", "clearance_mm", "reason",
)  # fmt: skip


def pick_list(reading: Reading) -> pd.DataFrame:
    """Cells to pick from one tray.

    The walking order is plain: row A from column 1 up, then row B from column 1 up, and so on, so that a hand and a
    machine can follow it without turning back to look.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    pandas.DataFrame
        One row per cell decided `harvest` or `transplant`, columns `PICK_COLUMNS`; no rows when nothing is ready.
        `order` counts from 1 within the tray. `x_mm, y_mm` is the plant's centroid from the tray's corner 0;
        `clearance_mm` see `clearances_mm`.
    """
    cells = reading.cells.assign(clearance_mm=clearances_mm(reading.cells))
    picked = cells[cells["decision"].isin(PICKED)].sort_values(["row", "col"], kind="stable")
    return picked.assign(order=np.arange(1, len(picked) + 1))[list(PICK_COLUMNS)].reset_index(drop=True)


def clearances_mm(cells: pd.DataFrame) -> FloatArray:
    """Room between each plant and its nearest neighbour.

    Parameters
    ----------
    cells : pandas.DataFrame
        Columns `x_mm, y_mm, diameter_mm`, missing where no plant is.

    Returns
    -------
    (cells,) float ndarray
        Distance in mm between the circles around the two plants (about the centroid, greatest width across); 0 or
        below: leaves may overlap. NaN without a plant or without a neighbour. A circle is wider than most plants, so
        the true room is rarely smaller; it can be where a plant is far from round about its centroid.
    """
    places = cells[["x_mm", "y_mm"]].to_numpy(dtype=float, na_value=np.nan)
    radii = cells["diameter_mm"].to_numpy(dtype=float, na_value=np.nan) / 2
    apart = np.hypot(*(places[:, None, :] - places[None, :, :]).transpose(2, 0, 1))
    room = apart - radii[:, None] - radii[None, :]
    np.fill_diagonal(room, np.nan)
    nearest = np.min(np.where(np.isnan(room), np.inf, room), axis=1, initial=np.inf)
    return np.where(np.isinf(nearest), np.nan, nearest)
