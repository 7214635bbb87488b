"""The message of the morning in words: what is ready, what is uneven and where, what was set aside."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import pandas as pd

from canopy.outputs.words import counted
from canopy.settings.messages import MessageSettings
from canopy.store.outbox import Aside

_NOT_SHOWN = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]+")
_LONGEST = 200
_LOOK = "Look at the trays before anything is cut: these are hints, not diagnoses."


def plain(text: str) -> str:
    """Text for one line: what is not shown, or would break or turn the line, is a question mark; long text is cut."""
    shown = _NOT_SHOWN.sub("?", text)
    return shown if len(shown) <= _LONGEST else f"{shown[: _LONGEST - 1]}…"


def morning_message(
    trays: pd.DataFrame, asides: Sequence[Aside], *, settings: MessageSettings, farm: str
) -> tuple[str, str]:
    """Title and text; both empty where there is nothing to tell and quiet is asked for.

    Parameters
    ----------
    trays : pandas.DataFrame
        The newest row of each tray with a new reading, see `canopy.measure.columns.TRAY_COLUMNS`.
    asides : sequence of Aside
        Since the last message.
    settings : MessageSettings
    farm : str
        Name of the farm's folder.
    """
    ready = [_ready(row) for row in _rows(trays[trays["ready"].fillna(0) > 0])]
    uneven = [_uneven(row) for row in _rows(trays[trays["evenness"] < settings.uneven_below])]
    aside = [plain(one.message) for one in asides]
    if settings.quiet and not (ready or uneven or aside):
        return "", ""
    plants = int(trays["ready"].fillna(0).sum())
    title = f"{plain(farm)}: {counted(plants, 'plant')} ready, {len(uneven)} uneven, {len(aside)} set aside"
    parts = [f"{counted(len(trays), 'tray')} with new photos."]
    for heading, lines in (("Ready:", ready), ("Uneven:", uneven), ("Set aside:", aside)):
        parts += _listed(heading, lines, settings.trays_max)
    return title, "\n".join([*parts, *([_LOOK] if ready or uneven else [])])


def _rows(trays: pd.DataFrame) -> list[dict[Any, Any]]:
    return trays.to_dict("records")


def _ready(row: dict[Any, Any]) -> str:
    return plain(f"{row['tray']}: {row['ready']} of {counted(int(row['planted']), 'plant')}")


def _uneven(row: dict[Any, Any]) -> str:
    why = row["pattern"] if isinstance(row["pattern"], str) and row["pattern"] else "no pattern seen"
    return plain(f"{row['tray']}: evenness {row['evenness']:.0f}, {why}")


def _listed(heading: str, lines: list[str], most: int) -> list[str]:
    if not lines:
        return []
    more = [f"- and {len(lines) - most} more"] if len(lines) > most else []
    return ["", heading, *(f"- {line}" for line in lines[:most]), *more]
