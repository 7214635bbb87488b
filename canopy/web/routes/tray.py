"""A tray over days: pictures side by side, readings, what was recorded of it, curves."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from canopy.store.logbook import harvests_of
from canopy.store.newest import history_of, latest_of
from canopy.store.notebook import last_notes, words_about
from canopy.web.farm import age_days
from canopy.web.growing import BOTTOM, HEIGHT, LEFT, WIDTH, curve_of
from canopy.web.measuring import corrected
from canopy.web.pages import page
from canopy.web.session import Crew
from canopy.web.site import site_of
from canopy.web.view import kept_reading, view_of

router = APIRouter()


@router.get("/tray")
def tray_page(request: Request, visit: Crew, id: str, cell: str = "") -> Response:
    """Everything of one tray."""
    site = site_of(request)
    known = site.farm.rules.trays.get(id)
    with site.store.reading() as connection:
        days = history_of(connection, id, most=site.settings.history_days)
        words, notes = words_about(connection, id), last_notes(connection, [id])
        cuts = harvests_of(connection, id)
        newest = latest_of(connection, id)
    if known is None and not days:
        raise HTTPException(404, "There is no such tray in the tray list, and no photo of it.")
    kept = kept_reading(site, newest) if newest is not None else None
    view = view_of(site, kept) if kept is not None else None
    names = [one.cell for one in view.cells] if view is not None else []
    chosen = cell if cell in names else ""
    record = corrected(known.record, [w for w in words if w.column == "sown_on"]) if known is not None else None
    curve = curve_of(site, known, record, cell=chosen) if known is not None and record is not None else None
    sown_on = record.sown_on if record is not None else None
    return page(
        request, "tray.html", tray=id, known=known, days=list(reversed(days)), newest=view, cells=names, cell=chosen,
        curve=curve, size=(WIDTH, HEIGHT, LEFT, BOTTOM), words=words, note=notes.get(id), cuts=cuts, sown_on=sown_on,
        ages={one.id: age_days(known, one.taken_at, sown_on=sown_on) for one in days},
    )  # fmt: skip
