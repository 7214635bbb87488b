"""Pick lists for machines: places in tray millimetres and what not to touch, or why a tray's places are not given."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from importlib import resources
from typing import Any

import numpy as np
import pandas as pd

from canopy.measure.columns import Column
from canopy.outputs.path import path_length, short_path
from canopy.outputs.picks import clearances_mm
from canopy.records import Layout
from canopy.settings.plan import PickSettings

CAUTION = (
    "Advice from a photo, never leave to move. Guards, emergency stops, lock-out and the risk assessment belong to the "
    "machine and to local rules; check every place with the machine's own sensors, keep hands and people out of its "
    "reach, and let a person's stop win. Depth is not known, and the stem may stand beside the middle of the leaves."
)
ORIGIN = (
    "corner 0 of the tray's outer edge, by cell A1, in the plane of the rim; x along row A towards the last column, y "
    "towards the last row"
)
MACHINE_COLUMNS = (
    Column("tray", "string", "", "Tray id."),
    Column("action", "string", "", "`pick` or `do not touch`."),
    Column("order", "Int64", "", "Place on the path from the origin, from 1; empty for plants not to be touched."),
    Column("cell", "string", "", "Cell."),
    Column("row", "int64", "", "Row number from 1 (row A)."),
    Column("col", "int64", "", "Column number from 1."),
    Column("cell_x_mm", "float64", "mm", "Middle of the cell along row A from the origin."),
    Column("cell_y_mm", "float64", "mm", "Middle of the cell down the columns."),
    Column("x_mm", "float64", "mm", "Middle of the leaf area along row A; the stem may stand elsewhere."),
    Column("y_mm", "float64", "mm", "Middle of the leaf area down the columns."),
    Column("width_mm", "float64", "mm", "Greatest width of the plant."),
    Column("clearance_mm", "float64", "mm", "Room to the nearest plant's circle; 0 or less: leaves may overlap."),
    Column("for_order", "string", "", "Order that it is cut for."),
    Column("why", "string", "", "Decision of a pick; why the others are left."),
)
_SURE = ("markers", "3 markers", "corners")
"""Ways of locating a tray whose grid can be relied on; besides, saved views that were checked against the photo."""


@dataclass(frozen=True)
class Seen:
    """A tray as its last photo shows it.

    Attributes
    ----------
    tray : str
    layout : Layout
    cells : pandas.DataFrame
        Cells of that photo: `photo, taken_at, row, col, cell, state, decision, reason, x_mm, y_mm, diameter_mm,
        located_by, quality, tilt_deg`.
    turned : bool or None
        Whether the tray lay turned by 180°; None where it cannot be told.
    """

    tray: str
    layout: Layout
    cells: pd.DataFrame
    turned: bool | None


@dataclass(frozen=True)
class MachineList:
    """Picks of one tray.

    Attributes
    ----------
    seen : Seen
    picks, kept : pandas.DataFrame
        `MACHINE_COLUMNS`; picks in the order of the path.
    length_mm : float
        Of the path from the origin through all picks.
    """

    seen: Seen
    picks: pd.DataFrame
    kept: pd.DataFrame
    length_mm: float


def doubt(seen: Seen, *, now: datetime, settings: PickSettings) -> str | None:
    """Why a tray's places are not given; None when they are.

    Parameters
    ----------
    seen : Seen
    now : datetime
        On the clock of the cameras, without zone.
    settings : PickSettings
    """
    first = seen.cells.iloc[0]
    located, quality = str(first["located_by"]), str(first["quality"])
    taken = pd.to_datetime(str(first["taken_at"])[:19], errors="coerce", format="ISO8601")
    if quality != "good":
        return f"its last photo is {quality}; take a better one"
    if located not in _SURE and not located.startswith("saved view "):
        return f"its grid is doubtful (located by {located}); lay markers, give corners or save a view"
    if seen.turned is not False:
        said = "lay turned by 180°" if seen.turned else "may have lain turned by 180°"
        return f"it {said} in its last photo; put it back and take a new one"
    if not float(first["tilt_deg"]) <= settings.max_tilt_deg:
        return (
            f"the camera's tilt is {first['tilt_deg']:.0f}°, limit {settings.max_tilt_deg:g}°; hold it straight above"
        )
    if pd.isna(taken):
        return "the time of its last photo is not known"
    age = now - taken
    if age > timedelta(hours=settings.max_age_hours):
        hours = age.total_seconds() / 3600
        return f"its last photo is {hours:.0f} hours old, limit {settings.max_age_hours:g}; take a new one"
    return None


def machine_list(seen: Seen, chosen: Mapping[str, str | None], *, settings: PickSettings) -> MachineList:
    """Picks of one tray in the order of a short path, and all plants that are to be left.

    Parameters
    ----------
    seen : Seen
        Without `doubt`.
    chosen : mapping of cell to order or None
        Cells to pick; those to be inspected and those whose plant was not placed are not picked but kept.
    settings : PickSettings

    Returns
    -------
    MachineList
    """
    cells = seen.cells.sort_values(["row", "col"], kind="stable").reset_index(drop=True)
    centres = seen.layout.centres_mm()[(cells["row"] - 1) * seen.layout.columns + cells["col"] - 1]
    table = pd.DataFrame(
        {
            "tray": seen.tray,
            "cell": cells["cell"],
            "row": cells["row"],
            "col": cells["col"],
            "cell_x_mm": centres[:, 0],
            "cell_y_mm": centres[:, 1],
            "x_mm": cells["x_mm"],
            "y_mm": cells["y_mm"],
            "width_mm": cells["diameter_mm"],
            "clearance_mm": clearances_mm(cells),
            "for_order": np.array([chosen.get(cell) for cell in cells["cell"]], dtype=object),
            "why": np.array([_why(row) for row in cells.to_dict("records")], dtype=object),
        }
    )
    placed = table["x_mm"].notna() & table["y_mm"].notna()
    looked_at = cells["decision"].eq("inspect").fillna(False)
    picked = table["cell"].isin(list(chosen)) & placed & ~looked_at
    there = ~cells["state"].eq("empty").fillna(False)  # a cell that was not shown may hold a plant
    picks = table[picked].reset_index(drop=True)
    points = picks[["x_mm", "y_mm"]].to_numpy(dtype=float)
    order = short_path(points, rounds=settings.improve_rounds)
    picks = picks.iloc[order].assign(action="pick", order=np.arange(1, len(picks) + 1)).reset_index(drop=True)
    kept = table[there & ~picked].assign(action="do not touch", order=np.nan).reset_index(drop=True)
    names = [column.name for column in MACHINE_COLUMNS]
    return MachineList(seen, picks[names], kept[names], path_length(points[order]))


def as_json(lists: Sequence[MachineList], refused: Mapping[str, str], *, made_for: date) -> dict[str, Any]:
    """All trays as one object that `pick_list.schema.json` describes."""
    return {
        "format": "canopy pick list",
        "version": 1,
        "made_for": made_for.isoformat(),
        "units": "mm",
        "origin": ORIGIN,
        "caution": CAUTION,
        "trays": [_tray(one) for one in lists],
        "refused": [{"tray": tray, "why": why} for tray, why in refused.items()],
    }


def pick_list_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of `as_json`."""
    text = (resources.files("canopy.outputs") / "pick_list.schema.json").read_text(encoding="utf-8")
    return dict(json.loads(text))


def _why(cell: Mapping[Any, Any]) -> str:
    decision = "not decided" if pd.isna(cell["decision"]) else str(cell["decision"])
    return decision if pd.isna(cell["reason"]) else f"{decision}: {cell['reason']}"


def _tray(one: MachineList) -> dict[str, Any]:
    first, layout = one.seen.cells.iloc[0], one.seen.layout
    return {
        "tray": one.seen.tray,
        "photo": str(first["photo"]),
        "taken_at": str(first["taken_at"]),
        "located_by": str(first["located_by"]),
        "rows": layout.rows,
        "columns": layout.columns,
        "width": layout.outline_width_mm,
        "height": layout.outline_height_mm,
        "path_length": _rounded(one.length_mm),
        "picks": [_pick(row) for row in one.picks.to_dict("records")],
        "do_not_touch": [_kept(row) for row in one.kept.to_dict("records")],
    }


def _pick(row: Mapping[Any, Any]) -> dict[str, Any]:
    return {
        "order": int(row["order"]),
        "cell": row["cell"],
        "row": int(row["row"]),
        "col": int(row["col"]),
        "cell_centre": _place(row["cell_x_mm"], row["cell_y_mm"]),
        "canopy_centre": _place(row["x_mm"], row["y_mm"]),
        "canopy_width": _rounded(row["width_mm"]),
        "clearance": _rounded(row["clearance_mm"]),
        "decision": row["why"],
        "for_order": None if pd.isna(row["for_order"]) else str(row["for_order"]),
    }


def _kept(row: Mapping[Any, Any]) -> dict[str, Any]:
    return {
        "cell": row["cell"],
        "cell_centre": _place(row["cell_x_mm"], row["cell_y_mm"]),
        "canopy_centre": None if pd.isna(row["x_mm"]) else _place(row["x_mm"], row["y_mm"]),
        "canopy_width": _rounded(row["width_mm"]),
        "why": row["why"],
    }


def _place(x: float, y: float) -> dict[str, float | None]:
    return {"x": _rounded(x), "y": _rounded(y)}


def _rounded(value: float) -> float | None:
    """Hundredths of a millimetre, more than any photo knows; None where missing."""
    return None if pd.isna(value) else round(float(value), 2)
