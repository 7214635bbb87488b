"""Numbers of a cell and of a tray in the words and rounding that people read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from canopy.pictures.palette import PICKED


def counted(number: int, noun: str) -> str:
    """`1 photo`, `2 photos`; for nouns whose plural takes an s."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def headline(cells: pd.DataFrame) -> str:
    """One sentence: how many plants are to be picked, looked at, or left."""
    planted = int((cells["state"] == "planted").sum())
    decisions = cells["decision"].value_counts()
    if planted == 0:
        return f"No living plant in {counted(len(cells), 'cell')}."
    if not len(decisions):
        where = f"{counted(planted, 'plant')} in {counted(len(cells), 'cell')}"
        return f"{where}, measured and not scored: the tray list names no crop."
    ready = sum(int(decisions.get(name, 0)) for name in PICKED)
    verb = "move on" if decisions.get("transplant", 0) else "cut"
    plants = counted(planted, "plant")
    parts = [f"{ready} of {plants} to {verb} now" if ready else f"None of {plants} is ready"]
    if decisions.get("inspect", 0):
        parts.append(f"{decisions['inspect']} to look at first")
    if decisions.get("wait", 0):
        parts.append(f"{decisions['wait']} to leave")
    return ", ".join(parts) + "."


def cell_facts(cell: Mapping[Any, Any], *, clearance_mm: float | None) -> str:
    """Area with its range, width, room to the neighbour, weight: what a hand wants to know of one plant."""
    parts = []
    if _given(cell["area_mm2"]) and cell["state"] == "planted":
        parts.append(f"Leaf area {_area_with_range(cell)}")
    if _given(cell["diameter_mm"]):
        parts.append(f"{cell['diameter_mm']:.0f} mm wide")
    if clearance_mm is not None and _given(clearance_mm):
        apart = f"{clearance_mm:.0f} mm to the next plant"
        parts.append(apart if clearance_mm > 0 else "leaves may overlap the next plant")
    if _given(cell["weight_g"]):
        parts.append(f"about {cell['weight_g']:.3g} g")
    return ", ".join(parts)


def area_text(area_mm2: float) -> str:
    """An area in cm² from 1 cm² up, else in mm²."""
    return f"{area_mm2 / 100:.1f} cm²" if area_mm2 >= 100 else f"{area_mm2:.0f} mm²"


def _area_with_range(cell: Mapping[Any, Any]) -> str:
    """Area and its range, in one unit."""
    area, low, high = (cell[name] for name in ("area_mm2", "area_low_mm2", "area_high_mm2"))
    if not (_given(low) and _given(high)):
        return area_text(area)
    if area >= 100:
        return f"{area / 100:.1f} cm² ({low / 100:.1f} to {high / 100:.1f})"
    return f"{area:.0f} mm² ({low:.0f} to {high:.0f})"


def tray_facts(tray: pd.Series[Any]) -> list[tuple[str, str]]:
    """(name, value) of the tray's numbers that are known, in reading order."""
    facts = []
    if _given(tray["emergence"]):
        facts.append(("Living plants", f"{tray['planted']} of {tray['cells']} cells ({100 * tray['emergence']:.0f} %)"))
    if _given(tray["cover"]):
        facts.append(("Ground covered", f"{100 * tray['cover']:.0f} %"))
    if _given(tray["mean_area_mm2"]):
        facts.append(("Mean leaf area of a plant", area_text(float(tray["mean_area_mm2"]))))
    if _given(tray["evenness"]):
        facts.append(("Evenness", f"{tray['evenness']:.0f} of 100{_spread(tray)}"))
    if _given(tray["pattern"]):
        facts.append(("Pattern", str(tray["pattern"])))
    if _given(tray["quality"]):
        facts.append(("Photo", str(tray["quality"])))
    return facts


def _spread(tray: pd.Series[Any]) -> str:
    return f" (plants differ by ±{100 * tray['cv_area']:.0f} % in area)" if _given(tray["cv_area"]) else ""


def _given(value: object) -> bool:
    return value is not None and not bool(pd.isna(value)) and value != ""  # type: ignore[call-overload]
