"""The report: one HTML file with everything inside, that opens offline on a phone."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import jinja2
import pandas as pd
from markupsafe import Markup

from canopy.outputs.tables import field_text
from canopy.outputs.words import cell_facts, counted, headline, tray_facts
from canopy.pictures.palette import LOOKS, PICKED, UNDECIDED, css_colour, look_of
from canopy.readiness import score_line
from canopy.reasons import REASONS
from canopy.records import Reading


@dataclass(frozen=True)
class ReportTray:
    """One reading as the report shows it.

    Attributes
    ----------
    reading : Reading
    picks : pandas.DataFrame
        From `canopy.outputs.picks.pick_list`.
    title : str
        Crop for people; empty where the tray is scored on nothing.
    cautions : tuple of str
        Sentences of the recipe.
    picture : bytes
        JPEG of the overlay; empty when none was drawn.
    """

    reading: Reading
    picks: pd.DataFrame
    title: str
    cautions: tuple[str, ...]
    picture: bytes


def render_report(
    trays: Sequence[ReportTray],
    set_aside: Sequence[tuple[str, str, str]],
    *,
    photos_read: int,
    version: str,
    fingerprint: str,
) -> str:
    """The report as HTML text, the same for the same readings.

    Parameters
    ----------
    trays : sequence of ReportTray
        One a photo, so that a tray may stand there several times; in the order of the photos.
    set_aside : sequence of (photo, reason code, message)
    photos_read : int
        Photos of the run that were read; more than `trays` when the report is cut short.
    version, fingerprint : str
        Of the tool and of its settings.
    """
    views = [_tray_view(tray, number) for number, tray in enumerate(trays, start=1)]
    return _template().render(
        trays=views,
        set_aside=[_aside_view(*entry) for entry in set_aside],
        left_out=photos_read - len(trays),
        different_trays=len({tray.reading.tray for tray in trays}),
        picks=sum(view["picks"] for view in views),
        cautions=list(dict.fromkeys(caution for tray in trays for caution in tray.cautions)),
        looks=list(LOOKS.values()),
        version=version,
        fingerprint=fingerprint,
    )


@lru_cache(maxsize=1)
def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("canopy.outputs", "report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["css"] = css_colour
    environment.globals["counted"] = counted
    environment.globals["style"] = Markup(environment.loader.get_source(environment, "report.css")[0])  # type: ignore[union-attr]
    return environment.get_template("report.html")


def _tray_view(tray: ReportTray, number: int) -> dict[str, Any]:
    reading = tray.reading
    row = reading.trays.iloc[0]
    lines = _score_lines(reading)
    clearance = dict(zip(tray.picks["cell"], tray.picks["clearance_mm"], strict=True))
    cells = [_cell_view(cell, lines.get(cell["cell"], ""), clearance) for cell in reading.cells.to_dict("records")]
    return {
        "anchor": f"tray-{number}",
        "tray": reading.tray,
        "photo": reading.photo,
        "taken_at": field_text(row["taken_at"], 5).replace("T", " ")[:16],
        "title": tray.title,
        "look": look_of(row["decision"]),
        "headline": headline(reading.cells),
        "picks": len(tray.picks),
        "pick_rows": _by_row([cell for cell in cells if cell["look"].decision in PICKED]),
        "inspect": [cell for cell in cells if cell["look"].decision == "inspect"],
        "cells": cells,
        "scored": any(cell["look"] is not UNDECIDED for cell in cells),
        "facts": tray_facts(row),
        "remarks": [remark for remark in reading.remarks if not remark.cell],
        "picture": base64.b64encode(tray.picture).decode("ascii"),
    }


def _cell_view(cell: dict[Any, Any], line: str, clearance: dict[str, float]) -> dict[str, Any]:
    return {
        "cell": cell["cell"],
        "row_name": str(cell["cell"]).rstrip("0123456789"),
        "look": look_of(cell["decision"]),
        "readiness": _whole(cell["readiness"]),
        "line": line,
        "reason": field_text(cell["reason"], 5),
        "facts": cell_facts(cell, clearance_mm=clearance.get(cell["cell"])),
        "state": field_text(cell["state"], 5),
    }


def _score_lines(reading: Reading) -> dict[str, str]:
    """The sum of each scored cell, by cell name."""
    if reading.criteria.empty:
        return {}
    by_cell = dict(list(reading.criteria.groupby("cell", sort=False)))
    return {str(name): score_line(criteria) for name, criteria in by_cell.items()}


def _by_row(cells: list[dict[str, Any]]) -> list[tuple[str, list[dict[str, Any]]]]:
    rows: dict[str, list[dict[str, Any]]] = {}
    for cell in cells:
        rows.setdefault(cell["row_name"], []).append(cell)
    return list(rows.items())


def _aside_view(photo: str, code: str, message: str) -> dict[str, str]:
    reason = REASONS.get(code, REASONS["failed"])
    return {"photo": photo, "short": reason.short, "advice": reason.advice, "message": message}


def _whole(value: object) -> str:
    return "" if value is None or pd.isna(value) else f"{value:.0f}"  # type: ignore[call-overload]
