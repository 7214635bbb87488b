"""The report: one HTML file with everything inside, that opens offline on a phone."""

from __future__ import annotations

import base64
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import Any

import jinja2
import pandas as pd
from markupsafe import Markup

from canopy.outputs.overlays import lighter
from canopy.outputs.tables import field_text
from canopy.outputs.words import cell_facts, headline, tray_facts
from canopy.pictures import Chart, evenness_over_time, heat_map, readiness_by_day, uniformity_map
from canopy.pictures.palette import LOOKS, PICKED, UNDECIDED, css_colour, look_of, page_css
from canopy.readiness import score_line
from canopy.reasons import REASONS
from canopy.records import Reading
from canopy.settings.outputs import OutputSettings
from canopy.words import PLAIN, Words
from canopy.words.templates import templates_in


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
        JPEG or WebP of the overlay; empty when none was drawn.
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
    look: OutputSettings,
    words: Words = PLAIN,
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
    look : OutputSettings
        How large the file may be, and how pictures are made smaller for that.
    words : Words
    """
    over_days = _over_days(trays, words)
    times = Counter(tray.reading.tray for tray in trays)
    views = [
        _tray_view(tray, number, charts=over_days.get(number, []), words=words)
        for number, tray in enumerate(trays, start=1)
    ]
    page = partial(
        _template(words.language).render,
        set_aside=[_aside_view(*entry, words=words) for entry in set_aside],
        left_out=photos_read - len(trays),
        different_trays=len(times),
        again={tray for tray, n in times.items() if n > 1},
        picks=sum(view["picks"] for view in views),
        cautions=[words.say(text) for text in dict.fromkeys(caution for tray in trays for caution in tray.cautions)],
        looks=list(LOOKS.values()),
        version=version,
        fingerprint=fingerprint,
        language=words.language,
    )
    text_bytes = len(page(trays=views).encode("utf-8", "surrogatepass"))
    pictures = _pictures([tray.picture for tray in trays], room_bytes=look.report_max_mb * 1e6 - text_bytes, look=look)
    return page(trays=[{**view, "picture": picture} for view, picture in zip(views, pictures, strict=True)])


def _pictures(pictures: Sequence[bytes], *, room_bytes: float, look: OutputSettings) -> list[str]:
    """Data URIs of the pictures, made smaller where together they take more than the room."""
    each = max(0, int(room_bytes / _BASE64 / max(1, sum(bool(picture) for picture in pictures))))
    if _BASE64 * sum(len(picture) for picture in pictures) > room_bytes:
        quality, least = look.report_light_quality, look.report_least_side_px
        pictures = [lighter(p, max_bytes=each, quality=quality, least_long_side_px=least) if p else p for p in pictures]
    return [_data_uri(picture) for picture in pictures]


_BASE64 = 4 / 3  # bytes of text for a byte of picture


def _data_uri(picture: bytes) -> str:
    kind = "webp" if picture[8:12] == b"WEBP" else "jpeg"
    return f"data:image/{kind};base64,{base64.b64encode(picture).decode('ascii')}" if picture else ""


@cache
def _template(language: str) -> jinja2.Template:
    environment = templates_in(language, package="canopy.outputs", folder="report")
    environment.filters["css"] = css_colour
    style = environment.loader.get_source(environment, "report.css")[0]  # type: ignore[union-attr]
    environment.globals["style"] = Markup(page_css() + style)
    return environment.get_template("report.html")


def _tray_view(tray: ReportTray, number: int, *, charts: list[Chart], words: Words) -> dict[str, Any]:
    reading = tray.reading
    row = reading.trays.iloc[0]
    lines = _score_lines(reading)
    clearance = dict(zip(tray.picks["cell"], tray.picks["clearance_mm"], strict=True))
    cells = [
        _cell_view(cell, lines.get(cell["cell"], ""), clearance, words) for cell in reading.cells.to_dict("records")
    ]
    anchor = f"tray-{number}"
    return {
        "anchor": anchor,
        "tray": reading.tray,
        "photo": reading.photo,
        "taken_at": field_text(row["taken_at"], 5).replace("T", " ")[:16],
        "title": words.say(tray.title),
        "look": look_of(row["decision"]),
        "headline": headline(reading.cells, words=words),
        "picks": len(tray.picks),
        "pick_rows": _by_row([cell for cell in cells if cell["look"].decision in PICKED]),
        "inspect": [cell for cell in cells if cell["look"].decision == "inspect"],
        "cells": cells,
        "scored": any(cell["look"] is not UNDECIDED for cell in cells),
        "facts": tray_facts(row, words=words),
        "remarks": [words.say(remark.text) for remark in reading.remarks if not remark.cell],
        "charts": [*_maps(reading, anchor, words), *charts],
        "picture": "",
    }


def _maps(reading: Reading, anchor: str, words: Words) -> list[Chart]:
    """Leaf area over the tray, and how it departs from the middle; none of a tray without plants."""
    if not reading.cells["area_mm2"].notna().any():
        return []
    pattern = field_text(reading.trays["pattern"].iloc[0], 5)
    return [
        heat_map(reading.cells, "area_mm2", words=words, name=f"{anchor}-area"),
        uniformity_map(reading.cells, pattern=pattern, words=words, name=f"{anchor}-even"),
    ]


def _over_days(trays: Sequence[ReportTray], words: Words) -> dict[int, list[Chart]]:
    """Charts of trays that were photographed on several days, by the number of the tray's last photo."""
    by_tray: dict[str, list[int]] = {}
    for number, tray in enumerate(trays, start=1):
        by_tray.setdefault(tray.reading.tray, []).append(number)
    charts = {}
    for numbers in by_tray.values():
        rows = pd.concat([trays[number - 1].reading.trays for number in numbers])
        if len(set(rows["taken_at"].dropna().str[:10])) > 1:
            cells = pd.concat([trays[number - 1].reading.cells for number in numbers])
            last, name = numbers[-1], f"tray-{numbers[-1]}"
            charts[last] = [evenness_over_time(rows, words=words, name=f"{name}-days")]
            if cells["readiness"].notna().any():
                charts[last].append(readiness_by_day(cells, words=words, name=f"{name}-ready"))
    return charts


def _cell_view(cell: dict[Any, Any], line: str, clearance: dict[str, float], words: Words) -> dict[str, Any]:
    return {
        "cell": cell["cell"],
        "row_name": str(cell["cell"]).rstrip("0123456789"),
        "look": look_of(cell["decision"]),
        "line": words.say(line),
        "reason": words.say(field_text(cell["reason"], 5)),
        "facts": cell_facts(cell, clearance_mm=clearance.get(cell["cell"]), words=words),
        "state": words.say(field_text(cell["state"], 5)),
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


def _aside_view(photo: str, code: str, message: str, *, words: Words) -> dict[str, str]:
    reason = REASONS.get(code, REASONS["failed"])
    short, advice = words.gettext(reason.short), words.gettext(reason.advice)
    # A message that nobody has translated stays in the tables; what it comes to stands here in any case.
    return {
        "photo": photo,
        "short": short,
        "advice": advice,
        "message": words.say(message) if words.knows(message) else "",
    }
