"""Numbers of a cell and of a tray in the words and rounding that people read, in their language."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from canopy.pictures.palette import PICKED
from canopy.words import PLAIN, Words


def counted(number: int, noun: str) -> str:
    """`1 photo`, `2 photos`; for English nouns whose plural takes an s."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def headline(cells: pd.DataFrame, *, words: Words = PLAIN) -> str:
    """One sentence: how many plants are to be picked, looked at, or left."""
    planted = int((cells["state"] == "planted").sum())
    decisions = cells["decision"].value_counts()
    plants = words.ngettext("{n} plant", "{n} plants", planted, n=planted)
    in_cells = words.ngettext("in {n} cell", "in {n} cells", len(cells), n=len(cells))
    if planted == 0:
        return words.gettext("No living plant {in_cells}.", in_cells=in_cells)
    if not len(decisions):
        return words.gettext(
            "{plants} {in_cells}, measured and not scored: the tray list names no crop.",
            plants=plants,
            in_cells=in_cells,
        )
    ready = sum(int(decisions.get(name, 0)) for name in PICKED)
    if not ready:
        parts = [words.gettext("None of {plants} is ready", plants=plants)]
    elif decisions.get("transplant", 0):
        parts = [words.gettext("{ready} of {plants} to move on now", ready=ready, plants=plants)]
    else:
        parts = [words.gettext("{ready} of {plants} to cut now", ready=ready, plants=plants)]
    if decisions.get("inspect", 0):
        parts.append(words.gettext("{n} to look at first", n=decisions["inspect"]))
    if decisions.get("wait", 0):
        parts.append(words.gettext("{n} to leave", n=decisions["wait"]))
    return ", ".join(parts) + "."


def cell_facts(cell: Mapping[Any, Any], *, clearance_mm: float | None, words: Words = PLAIN) -> str:
    """Area with its range, width, room to the neighbour, weight: what a hand wants to know of one plant."""
    parts = []
    if _given(cell["area_mm2"]) and cell["state"] == "planted":
        parts.append(words.gettext("Leaf area {area}", area=_area_with_range(cell, words)))
    if _given(cell["diameter_mm"]):
        parts.append(words.gettext("{width} mm wide", width=f"{cell['diameter_mm']:.0f}"))
    if clearance_mm is not None and _given(clearance_mm):
        apart = words.gettext("{room} mm to the next plant", room=f"{clearance_mm:.0f}")
        parts.append(apart if clearance_mm > 0 else words.gettext("leaves may overlap the next plant"))
    if _given(cell["weight_g"]):
        parts.append(words.gettext("about {weight} g", weight=f"{cell['weight_g']:.3g}"))
    return ", ".join(parts)


def area_text(area_mm2: float) -> str:
    """An area in cm² from 1 cm² up, else in mm²."""
    return f"{area_mm2 / 100:.1f} cm²" if area_mm2 >= 100 else f"{area_mm2:.0f} mm²"


def _area_with_range(cell: Mapping[Any, Any], words: Words) -> str:
    """Area and its range, in one unit."""
    area, low, high = (cell[name] for name in ("area_mm2", "area_low_mm2", "area_high_mm2"))
    if not (_given(low) and _given(high)):
        return area_text(area)
    factor, decimals = (0.01, 1) if area >= 100 else (1.0, 0)
    ends = [f"{end * factor:.{decimals}f}" for end in (low, high)]
    span = words.gettext("{low} to {high}", low=ends[0], high=ends[1])
    return f"{area_text(area)} ({span})"


def tray_facts(tray: pd.Series[Any], *, words: Words = PLAIN) -> list[tuple[str, str]]:
    """(name, value) of the tray's numbers that are known, in reading order."""
    facts = []
    if _given(tray["emergence"]):
        share = f"{100 * tray['emergence']:.0f}"
        text = words.gettext(
            "{planted} of {cells} cells ({share} %)", planted=tray["planted"], cells=tray["cells"], share=share
        )
        facts.append((words.gettext("Living plants"), text))
    if _given(tray["cover"]):
        facts.append((words.gettext("Ground covered"), f"{100 * tray['cover']:.0f} %"))
    if _given(tray["mean_area_mm2"]):
        facts.append((words.gettext("Mean leaf area of a plant"), area_text(float(tray["mean_area_mm2"]))))
    if _given(tray["evenness"]):
        facts.append((words.gettext("Evenness"), _evenness(tray, words)))
    if _given(tray["pattern"]):
        facts.append((words.gettext("Pattern"), words.say(str(tray["pattern"]))))
    if _given(tray["quality"]):
        facts.append((words.gettext("Photo"), words.say(str(tray["quality"]))))
    return facts


def _evenness(tray: pd.Series[Any], words: Words) -> str:
    text = words.gettext("{evenness} of 100", evenness=f"{tray['evenness']:.0f}")
    if not _given(tray["cv_area"]):
        return text
    spread = words.gettext("plants differ by ±{share} % in area", share=f"{100 * tray['cv_area']:.0f}")
    return f"{text} ({spread})"


def _given(value: object) -> bool:
    return value is not None and not bool(pd.isna(value)) and value != ""  # type: ignore[call-overload]
