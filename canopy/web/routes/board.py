"""The board: trays by evenness with what the pattern says; filtered, compared, marked as seen, downloaded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from urllib.parse import quote, urlencode

import pandas as pd
from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from canopy.measure.columns import TRAY_COLUMNS
from canopy.outputs.export import harmless
from canopy.outputs.tables import header_line, table_lines
from canopy.store import people
from canopy.store.newest import CellNow, Latest, cells_in_short, latest, latest_of
from canopy.store.notebook import SeenNote, add_note, last_notes, sown_days
from canopy.store.people import Deed
from canopy.store.readings import read_numbers
from canopy.web.farm import KnownTray, age_days, rack_of, walking_order
from canopy.web.pages import go, page
from canopy.web.session import QA, Form, text_of
from canopy.web.site import Site, site_of
from canopy.web.view import kept_reading, view_of

router = APIRouter()

_NOTE_MAX = 500
_AGE_MAX = 10_000


@dataclass(frozen=True)
class Asked:
    """What the board is to show."""

    crop: str = ""
    rack: str = ""
    age_from: int | None = None
    age_to: int | None = None
    seen: str = ""

    def query(self, **more: object) -> str:
        """The same as a query, with other fields besides."""
        fields = {**vars(self), **more}
        return urlencode({name: value for name, value in fields.items() if value not in ("", None)})


@dataclass(frozen=True)
class Row:
    """A tray on the board."""

    now: Latest
    known: KnownTray | None
    rack: str
    age: int | None
    note: SeenNote | None

    @property
    def seen(self) -> bool:
        """Whether somebody has looked at it since its newest photo."""
        return self.note is not None and self.note.taken_at == (self.now.taken_at or "")


def _number(text: str) -> int | None:
    if not text.strip():
        return None
    if not text.strip().isdecimal() or int(text) > _AGE_MAX:
        raise HTTPException(422, "age: give a whole number of days, or leave it empty.")
    return int(text)


def _asked(crop: str, rack: str, age_from: str, age_to: str, seen: str) -> Asked:
    return Asked(crop[:100], rack[:100], _number(age_from), _number(age_to), seen if seen in ("yes", "no") else "")


@router.get("/board")
def board(
    request: Request, visit: QA, crop: str = "", rack: str = "", age_from: str = "", age_to: str = "",
    seen: str = "", part: int = 1,
) -> Response:  # fmt: skip
    """Trays, the least even first."""
    site = site_of(request)
    asked = _asked(crop, rack, age_from, age_to, seen)
    every = all_rows(site)
    rows = filtered(every, asked)
    size = site.settings.board_page
    parts = max(1, -(-len(rows) // size))
    part = min(max(part, 1), parts)
    shown = rows[(part - 1) * size : part * size]
    with site.store.reading() as connection:
        maps = cells_in_short(connection, [row.now.id for row in shown])
    return page(
        request, "board.html", rows=shown, maps={key: heat(cells) for key, cells in maps.items()}, asked=asked,
        part=part, parts=parts, count=len(rows), of=len(every),
        crops=sorted({row.known.crop for row in every if row.known is not None and row.known.crop}),
        racks=sorted({row.rack for row in every}, key=walking_order),
    )  # fmt: skip


@router.get("/board/compare")
def compare(request: Request, visit: QA, tray: list[str] | None = None) -> Response:
    """Two trays side by side."""
    site = site_of(request)
    trays = request.query_params.getlist("tray") if tray is None else tray
    views = []
    for name in trays[:2]:
        with site.store.reading() as connection:
            number = latest_of(connection, name)
        kept = kept_reading(site, number) if number is not None else None
        if kept is None:
            raise HTTPException(404, "There is no photo of one of these trays.")
        views.append(view_of(site, kept))
    if len(views) != 2:
        raise HTTPException(422, "Choose two trays to compare.")
    facts = [dict(view.facts) for view in views]
    names = list(dict.fromkeys([*facts[0], *facts[1]]))
    return page(request, "compare.html", views=views, names=names, facts=facts)


@router.post("/board/seen")
def seen(request: Request, visit: QA, form: Form) -> Response:
    """Mark a tray as seen, with a note."""
    site = site_of(request)
    tray, note = text_of(form, "tray"), text_of(form, "note", most=_NOTE_MAX)
    with site.store.writing() as connection:
        now = latest_of(connection, tray)
        if now is None:
            raise HTTPException(422, "tray: has no photo yet.")
        row = read_numbers(connection, "trays", [now], TRAY_COLUMNS).iloc[0]
        taken_at = "" if pd.isna(row["taken_at"]) else str(row["taken_at"])
        add_note(connection, SeenNote(site.now, visit.name, tray, taken_at, note))
        people.note(connection, Deed(site.now, visit.name, "seen", tray, visit.address))
    back = text_of(form, "back", most=2000)
    return go(f"/board?{back}#b-{quote(tray)}" if back and back.isprintable() else f"/board#b-{quote(tray)}")


@router.get("/board.csv")
def table(
    request: Request, visit: QA, crop: str = "", rack: str = "", age_from: str = "", age_to: str = "", seen: str = ""
) -> Response:
    """The filtered board as a table with the columns of trays.csv."""
    site = site_of(request)
    rows = filtered(all_rows(site), _asked(crop, rack, age_from, age_to, seen))
    digits = site.farm.rules.configuration.settings.outputs.significant_digits
    with site.store.reading() as connection:
        whole = read_numbers(connection, "trays", [row.now.id for row in rows], TRAY_COLUMNS)
    texts = [column.name for column in TRAY_COLUMNS if column.dtype == "string"]
    # A spreadsheet must not take a tray's name for a formula.
    safe = whole.assign(
        **{name: whole[name].map(harmless, na_action="ignore").astype(whole[name].dtype) for name in texts}
    )
    text = header_line([column.name for column in TRAY_COLUMNS]) + table_lines(safe, significant_digits=digits)
    headers = {"content-disposition": 'attachment; filename="board.csv"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


def all_rows(site: Site) -> list[Row]:
    """Every tray that was read, the least even first, those without a figure last."""
    trays = site.farm.rules.trays
    with site.store.reading() as connection:
        now = latest(connection)
        notes = last_notes(connection, [one.tray for one in now])
        sown = {tray: date.fromisoformat(day) for tray, day in sown_days(connection).items() if day}
    rows = []
    for one in now:
        known = trays.get(one.tray)
        age = age_days(known, one.taken_at, sown_on=sown.get(one.tray))
        rows.append(Row(one, known, rack_of(one.tray), age, notes.get(one.tray)))
    return sorted(rows, key=_least_even_first)


def filtered(rows: list[Row], asked: Asked) -> list[Row]:
    """Rows that fit what is asked for."""
    return [
        row
        for row in rows
        if (not asked.crop or (row.known is not None and row.known.crop == asked.crop))
        and (not asked.rack or row.rack == asked.rack)
        and (asked.age_from is None or (row.age is not None and row.age >= asked.age_from))
        and (asked.age_to is None or (row.age is not None and row.age <= asked.age_to))
        and (not asked.seen or row.seen == (asked.seen == "yes"))
    ]


def heat(cells: list[CellNow]) -> dict[str, object]:
    """A small map of a tray: shade of each cell by its area beside the tray's median, 0 far below to 4 far above."""
    areas = sorted(cell.area_mm2 for cell in cells if cell.area_mm2)
    middle = areas[len(areas) // 2] if areas else 0.0
    shades: list[list[object]] = []
    for cell in cells:
        shade = "none"
        if cell.area_mm2 and middle:
            shade = str(sum(cell.area_mm2 / middle > limit for limit in (0.6, 0.85, 1.15, 1.4)))
        shades.append([cell.col - 1, cell.row - 1, shade])
    rows = max((cell.row for cell in cells), default=1)
    columns = max((cell.col for cell in cells), default=1)
    return {"rows": rows, "columns": columns, "runs": _runs(shades)}


def _runs(shades: list[list[object]]) -> list[tuple[object, object, int, object]]:
    """Cells of one shade that lie side by side, as one: x, y, length, shade; a page of forty maps stays small."""
    runs: list[tuple[object, object, int, object]] = []
    for x, y, shade in shades:
        if runs and runs[-1][1] == y and runs[-1][3] == shade and runs[-1][0] + runs[-1][2] == x:  # type: ignore[operator]
            runs[-1] = (runs[-1][0], y, runs[-1][2] + 1, shade)
        else:
            runs.append((x, y, 1, shade))
    return runs


def _least_even_first(row: Row) -> tuple[bool, float, object]:
    even = row.now.evenness
    return even is None, even if even is not None else 0.0, walking_order(row.now.tray)
