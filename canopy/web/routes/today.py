"""Today's pick lists: ticked off as they are cut, weighed, printed."""

from __future__ import annotations

import math
import re
from datetime import date, timedelta
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from canopy.store.newest import latest_of, reading_of
from canopy.web.cutting import Tick, todays_list, weigh, write_tick
from canopy.web.pages import go, page, plain, wants_json
from canopy.web.session import Crew, Form, text_of
from canopy.web.site import Site, site_of

router = APIRouter()

_KEY = re.compile(r"[A-Za-z0-9_.:-]{8,120}")
_GRAMS_MAX = 1_000_000.0
# A tick may wait on a phone without a network; what is older than this is a mistake.
_LATE_DAYS = 14


@router.get("/today")
def today_page(request: Request, visit: Crew, rack: str = "", part: str = "1") -> Response:
    """What is to be cut."""
    site = site_of(request)
    shown = todays_list(site, rack=rack, part=int(part) if part.isdecimal() and len(part) < 9 else 1)
    return page(
        request, "today.html", list=shown, rack=rack, today=site.today, days=site.settings.today_days,
        left=sum(one.left for one in shown.trays), count=sum(one.count for one in shown.trays),
    )  # fmt: skip


@router.post("/today/cut")
def cut(request: Request, visit: Crew, form: Form) -> Response:
    """Tick a cell off, or take the tick back."""
    site = site_of(request)
    tray, key = text_of(form, "tray"), _key(form)
    cell, _, word = text_of(form, "tick").partition(" ")  # one button each, and one form for all of a tray
    done = word != "no"
    tick = Tick(tray, cell, done, f"{key} {cell} {word}", _day(site, form), photo_day(site, tray, cell))
    new = write_tick(site, tick, by=visit.name, address=visit.address)
    if wants_json(request):
        return JSONResponse({"tray": tray, "cell": cell, "done": done, "new": new})
    return go(f"/today?{urlencode({'rack': text_of(form, 'rack'), 'part': text_of(form, 'part')})}#t-{quote(tray)}")


@router.post("/today/grams")
def grams(request: Request, visit: Crew, form: Form) -> Response:
    """Write down what a tray's cut plants weigh."""
    site = site_of(request)
    tray = text_of(form, "tray")
    with site.store.reading() as connection:
        if latest_of(connection, tray) is None:
            raise HTTPException(422, "tray: has no photo yet; take one first.")
    try:
        number = float(text_of(form, "grams").replace(",", "."))
    except ValueError:
        number = math.nan
    if not 0 < number <= _GRAMS_MAX:
        raise HTTPException(422, f"grams: give a number above 0 and up to {_GRAMS_MAX:g}.")
    new = weigh(site, tray=tray, grams=number, key=_key(form), by=visit.name, address=visit.address)
    if wants_json(request):
        return JSONResponse({"tray": tray, "grams": number, "new": new})
    return go(f"/today#t-{quote(tray)}")


def photo_day(site: Site, tray: str, cell: str) -> str:
    """Day of the tray's newest photo (empty where unknown); the request ends where it shows no such cell."""
    with site.store.reading() as connection:
        number = latest_of(connection, tray)
        kept = reading_of(connection, number) if number is not None else None
    if kept is None or cell not in set(kept.cells["cell"]):
        raise HTTPException(422, "cell: no photo of this tray shows such a cell.")
    return (plain(kept.trays.iloc[0].to_dict())["taken_at"] or "")[:10]


def _key(form: FormData) -> str:
    key = text_of(form, "key")
    if not _KEY.fullmatch(key):
        raise HTTPException(422, "key: give 8 to 120 letters, digits or signs.")
    return key


def _day(site: Site, form: FormData) -> str:
    """The day on which it was cut, as the phone noted it; today where it did not."""
    given = text_of(form, "on", most=10) or site.today
    try:
        day = date.fromisoformat(given)
    except ValueError:
        raise HTTPException(422, "on: write year-month-day, as 2026-03-05.") from None
    today = date.fromisoformat(site.today)
    if not today - timedelta(days=_LATE_DAYS) <= day <= today + timedelta(days=1):
        raise HTTPException(422, f"on: lies more than {_LATE_DAYS} days back or in the future; check the phone's date.")
    return day.isoformat()
