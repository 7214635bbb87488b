"""Photos from a phone: taken in, kept in line, and shown when they are measured."""

from __future__ import annotations

import hashlib
import re
import secrets
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from anyio.to_thread import run_sync
from fastapi import APIRouter, Request
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from canopy.reasons import REASONS
from canopy.store import people, snaps
from canopy.store.newest import newest_reading_of_photo
from canopy.store.people import Deed
from canopy.store.snaps import READ, WAITING, WHICH_TRAY, Snap
from canopy.web.farm import KnownTray
from canopy.web.kinds import KINDS, kind_of
from canopy.web.line import Line
from canopy.web.pages import go, page, wants_json
from canopy.web.session import Crew, Form, Visit, text_of
from canopy.web.site import Site, site_of

router = APIRouter()

_KEY = re.compile(r"[A-Za-z0-9_-]{8,80}")
_MB = 1_000_000
_RECENT = 12
# Clocks of phones go wrong; a date before digital photographs or after tomorrow says nothing.
_FIRST_MS, _AHEAD_MS = 946_684_800_000, 86_400_000


@router.get("/snap")
def snap_page(request: Request, visit: Crew, tray: str = "") -> Response:
    """Take or choose photos."""
    site = site_of(request)
    with site.store.reading() as connection:
        last = snaps.recent(connection, most=_RECENT)
    recent, others = trays_to_choose(site, last)
    chosen = tray if tray in site.farm.rules.trays else ""
    return page(
        request, "snap.html", recent=recent, others=others, chosen=chosen, sent=[_facts(site, one) for one in last],
        key=secrets.token_urlsafe(12), most=site.settings.upload_count_max, problems=site.farm.rules.problems,
        by=visit.name,
    )  # fmt: skip


@router.post("/snap")
async def take(request: Request, visit: Crew, form: Form) -> Response:
    """Take photos in: each is kept before the answer, so that none is lost whatever happens next."""
    site = site_of(request)
    photos = [one for one in form.getlist("photos") if isinstance(one, UploadFile) and (one.filename or one.size)]
    key = text_of(form, "key") or secrets.token_urlsafe(12)
    if not _KEY.fullmatch(key):
        raise HTTPException(422, "key: give 8 to 80 letters, digits, `-` or `_`.")
    if not photos:
        raise HTTPException(422, "No photo came with this; choose one and send again.")
    line: Line = request.app.state.line
    sent = []
    for number, photo in enumerate(photos):
        own = key if number == 0 else f"{key}-{number}"
        sent.append(await run_sync(_take_in, site, visit, form, photo, own, line))
    if len(sent) == 1:
        await run_sync(lambda: line.wait(sent[0], seconds=site.settings.answer_wait_s))
    if wants_json(request):
        return JSONResponse([await run_sync(_by_key, site, one) for one in sent])
    return go(f"/snaps/{sent[0]}" if len(sent) == 1 else "/snap")


@router.get("/snaps/{key}")
def sent_page(request: Request, key: str, visit: Crew) -> Response:
    """What became of a photo; the reading itself when there is one."""
    site = site_of(request)
    facts = _by_key(site, key)
    if wants_json(request):
        return JSONResponse(facts)
    if facts["state"] == READ and facts["url"] != f"/snaps/{key}":
        return go(facts["url"])
    with site.store.reading() as connection:
        last = snaps.recent(connection, most=_RECENT)
    recent, others = trays_to_choose(site, last)
    line: Line = request.app.state.line
    status = 200 if facts["state"] in (READ, WAITING) else 409
    return page(
        request, "sent.html", status=status, snap=facts, recent=recent, others=others, before=line.length,
        advice=REASONS[facts["reason"]].advice if facts["reason"] in REASONS else "",
    )  # fmt: skip


@router.post("/snaps/{key}")
def choose_tray(request: Request, key: str, visit: Crew, form: Form) -> Response:
    """Name the tray of a photo whose label was not read, or measure once more what was set aside."""
    site = site_of(request)
    tray = text_of(form, "tray")
    if tray not in site.farm.rules.trays:
        raise HTTPException(422, "tray: not in the tray list; choose one.")
    with site.store.writing() as connection:
        snap = snaps.snap_of(connection, key)
        if snap is None:
            raise HTTPException(404, "No photo was sent under this key.")
        if snap.state not in (READ, WAITING):
            snaps.change_snap(connection, replace(snap, chosen=tray, state=WAITING, reason="", message=""))
            people.note(connection, Deed(site.now, visit.name, "tray named", f"{key} {tray}", visit.address))
    line: Line = request.app.state.line
    line.put(key)
    line.wait(key, seconds=site.settings.answer_wait_s)
    return go(f"/snaps/{key}")


def trays_to_choose(site: Site, last: list[Snap]) -> tuple[list[KnownTray], list[KnownTray]]:
    """Trays that were photographed last, and all others in walking order."""
    rules = site.farm.rules
    named = dict.fromkeys(snap.tray for snap in last if snap.tray in rules.trays)
    recent = list(named)[: site.settings.recent_trays]
    return [rules.trays[tray] for tray in recent], [tray for tray in rules.in_order if tray.id not in recent]


def _take_in(site: Site, visit: Visit, form: FormData, photo: UploadFile, key: str, line: Line) -> str:
    """Keep one photo and note it; its key comes back."""
    most = site.settings.upload_max_mb * _MB
    data = photo.file.read(round(most) + 1)
    if len(data) > most:
        raise HTTPException(413, f"A photo is larger than {site.settings.upload_max_mb:g} MB; send it smaller.")
    kind = kind_of(data[:16])
    if kind is None:
        raise HTTPException(415, f"This is no photo; send {', '.join(KINDS[:-1]).upper()} or HEIC.")
    tray = text_of(form, "tray")
    if tray and tray not in site.farm.rules.trays:
        raise HTTPException(422, "tray: not in the tray list; choose one, or leave it to the label.")
    sha256 = hashlib.sha256(data).hexdigest()
    try:
        site.farm.keep(sha256, kind, data)
    except OSError as error:
        raise HTTPException(507, f"The photo cannot be kept ({error.strerror}); make room and send again.") from None
    snap = Snap(key, sha256, kind, visit.name, site.now, _file_date(form, site), chosen=tray)
    with site.store.writing() as connection:
        if snaps.add_snap(connection, snap):
            people.note(connection, Deed(site.now, visit.name, "photo", sha256[:16], visit.address))
    line.put(key)
    return key


def _file_date(form: FormData, site: Site) -> str | None:
    """The file's own date as the phone gives it, milliseconds since 1970; None where it makes no sense."""
    given = text_of(form, "modified", most=20)
    if not given.isdecimal():
        return None
    now_ms = site.clock().timestamp() * 1000
    if not _FIRST_MS <= int(given) <= now_ms + _AHEAD_MS:
        return None
    return datetime.fromtimestamp(int(given) / 1000, tz=UTC).isoformat(timespec="seconds")


def _by_key(site: Site, key: str) -> dict[str, Any]:
    with site.store.reading() as connection:
        snap = snaps.snap_of(connection, key)
    if snap is None:
        raise HTTPException(404, "No photo was sent under this key.")
    return _facts(site, snap)


def _facts(site: Site, snap: Snap) -> dict[str, Any]:
    """What is told of a photo that was sent."""
    url = f"/snaps/{snap.key}"
    if snap.state == READ:
        with site.store.reading() as connection:
            number = newest_reading_of_photo(connection, snap.sha256, snap.tray)
        url = f"/readings/{number}" if number is not None else url
    words = {READ: "measured", WAITING: "in line", WHICH_TRAY: "which tray is it?"}
    short = REASONS[snap.reason].short if snap.reason in REASONS else "set aside"
    # The message names the file, which says nothing to the person who sent it.
    message = snap.message.partition(": ")[2] if snap.message.startswith("snaps/") else snap.message
    return {
        "key": snap.key, "state": snap.state, "tray": snap.tray or snap.chosen, "by": snap.by, "sent_at": snap.sent_at,
        "words": words.get(snap.state, short), "reason": snap.reason, "message": message, "url": url,
    }  # fmt: skip
