"""Setting a reading right: corners, cells, strokes, sown date; written down with who and when, measured anew."""

from __future__ import annotations

import json
import math
from datetime import date, datetime

from fastapi import APIRouter, Request
from pydantic import ValidationError
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from canopy.errors import PhotoError
from canopy.records import Stroke
from canopy.store import ledger, people, snaps
from canopy.store.logbook import Correction, add_correction
from canopy.store.newest import Kept
from canopy.store.people import Deed
from canopy.store.snaps import READ
from canopy.web import darkroom
from canopy.web.darkroom import Whole
from canopy.web.farm import KnownTray, snap_path
from canopy.web.measuring import STATES, Source, measure_photo, sown_now, what_is_told
from canopy.web.pages import go, page, wants_json
from canopy.web.routes.reading import kept_or_none_found
from canopy.web.session import Crew, Form, Visit, text_of
from canopy.web.site import Site, site_of
from canopy.web.view import view_of

router = APIRouter()

_STROKES_MAX = 200
_FAR_PX = 1e6


@router.get("/readings/{number}/set-right")
def set_right_page(request: Request, number: int, visit: Crew, cell: str = "") -> Response:
    """Cells, strokes and day of sowing."""
    site = site_of(request)
    reading = view_of(site, kept_or_none_found(site, number))
    sown_on = sown_now(reading.known.record, reading.words) if reading.known is not None else None
    return page(request, "set_right.html", reading=reading, chosen=cell, sown_on=sown_on)


@router.get("/readings/{number}/corners")
def corners_page(request: Request, number: int, visit: Crew) -> Response:
    """The four corners on the whole photo."""
    site = site_of(request)
    kept = kept_or_none_found(site, number)
    whole = _whole(site, kept.path, kept.photo_sha256, kept.tray)
    return page(
        request, "corners.html", tray=kept.tray, whole=whole, action=f"/readings/{number}/corners",
        picture=f"/photos/{number}.jpg", back=f"/readings/{number}", corners=_or_inset(whole),
    )  # fmt: skip


@router.get("/photos/{number}.jpg")
def whole_photo(request: Request, number: int, visit: Crew) -> Response:
    """The whole photo, small and without anything but its pixels."""
    site = site_of(request)
    kept = kept_or_none_found(site, number)
    return _jpeg(_whole(site, kept.path, kept.photo_sha256, None).picture)


@router.get("/snaps/{key}/corners")
def corners_of_snap(request: Request, key: str, visit: Crew) -> Response:
    """The four corners on a photo whose tray was not found."""
    site = site_of(request)
    path, sha256, tray = _set_aside_snap(site, key)
    whole = _whole(site, path, sha256, tray)
    return page(
        request, "corners.html", tray=tray, whole=whole, action=f"/snaps/{key}/corners",
        picture=f"/snaps/{key}/photo.jpg", back=f"/snaps/{key}", corners=_or_inset(whole),
    )  # fmt: skip


@router.get("/snaps/{key}/photo.jpg")
def whole_snap(request: Request, key: str, visit: Crew) -> Response:
    """The whole photo of a sending that gave no reading."""
    site = site_of(request)
    path, sha256, _ = _set_aside_snap(site, key)
    return _jpeg(_whole(site, path, sha256, None).picture)


@router.post("/snaps/{key}/corners")
def put_corners_of_snap(request: Request, key: str, visit: Crew, form: Form) -> Response:
    """Take the corners of a photo whose tray was not found, and measure it."""
    site = site_of(request)
    path, sha256, tray = _set_aside_snap(site, key)
    known = _known(site, tray, path)
    _write_down(site, visit, sha256, known.id, "", "corners", _corners(form))
    try:
        number = measure_photo(site, Source(sha256, path, site.farm.photo(path, sha256)), known)
    except PhotoError as error:
        raise HTTPException(422, f"With these corners: {error}") from None
    with site.store.writing() as connection:
        snap = snaps.snap_of(connection, key)
        if snap is not None:
            done = {"state": READ, "tray": tray, "reason": "", "message": ""}
            snaps.change_snap(connection, snaps.Snap(**{**vars(snap), **done}))
    return go(f"/readings/{number}")


@router.post("/readings/{number}/corners")
def put_corners(request: Request, number: int, visit: Crew, form: Form) -> Response:
    """Take the corners and measure the photo anew."""
    return _set_right(request, number, visit, [("", "corners", _corners(form))])


@router.post("/readings/{number}/cell")
def put_cell(request: Request, number: int, visit: Crew, form: Form) -> Response:
    """Take the state of one cell, or of several, and measure the photo anew."""
    site = site_of(request)
    names = set(kept_or_none_found(site, number).cells["cell"])
    state = text_of(form, "state")
    cells = [cell for cell in (str(one).strip() for one in form.getlist("cell")) if cell]
    if state not in (*STATES, "as measured"):
        raise HTTPException(422, f"state: give {', '.join(STATES)} or `as measured`.")
    if not cells or not set(cells) <= names:
        raise HTTPException(422, "cell: the tray has no such cell.")
    value = state if state in STATES else ""
    return _set_right(request, number, visit, [(cell, "state", value) for cell in dict.fromkeys(cells)])


@router.post("/readings/{number}/strokes")
def put_strokes(request: Request, number: int, visit: Crew, form: Form) -> Response:
    """Take strokes of a brush, or take all of them back, and measure the photo anew."""
    text = text_of(form, "strokes", most=300_000)
    if text:
        try:
            given = json.loads(text)
            strokes = [Stroke.model_validate(stroke) for stroke in given]
        except (ValueError, TypeError, RecursionError, ValidationError):
            raise HTTPException(422, "strokes: cannot be read; paint them again.") from None
        if not 1 <= len(strokes) <= _STROKES_MAX:
            raise HTTPException(422, f"strokes: give 1 to {_STROKES_MAX}.")
        text = json.dumps([stroke.model_dump(mode="json") for stroke in strokes])
    return _set_right(request, number, visit, [("", "strokes", text)])


@router.post("/readings/{number}/sown")
def put_sown(request: Request, number: int, visit: Crew, form: Form) -> Response:
    """Take the tray's day of sowing and measure the photo anew."""
    text = text_of(form, "sown_on", most=10)
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise HTTPException(422, "sown_on: write year-month-day, as 2026-03-05.") from None
    return _set_right(request, number, visit, [("", "sown_on", day.isoformat())])


def _set_right(request: Request, number: int, visit: Visit, words: list[tuple[str, str, str]]) -> Response:
    """Write corrections down, measure the photo anew, go on to what came of it."""
    site = site_of(request)
    kept = kept_or_none_found(site, number)
    known = _known(site, kept.tray, kept.path)
    for cell, column, value in words:
        about = "" if column == "sown_on" else kept.photo_sha256
        _write_down(site, visit, about, known.id, cell, column, value)
    try:
        new = measure_photo(site, _source(site, kept), known)
    except PhotoError as error:
        raise HTTPException(422, f"It is written down, but the photo gives no reading so: {error}") from None
    where = f"/readings/{new}"
    return JSONResponse({"reading": new, "url": where}) if wants_json(request) else go(where)


def _write_down(site: Site, visit: Visit, sha256: str, tray: str, cell: str, column: str, value: str) -> None:
    with site.store.writing() as connection:
        add_correction(connection, Correction(site.now, visit.name, sha256, tray, cell, column, value or None))
        about = f"{tray} {cell} {column} {value}"[:200]
        people.note(connection, Deed(site.now, visit.name, "set right", about, visit.address))


def _source(site: Site, kept: Kept) -> Source:
    """The reading's photo, with the time that it was measured with."""
    with site.store.reading() as connection:
        photo = ledger.photo_of(connection, kept.photo_sha256)
    data = site.farm.photo(kept.path, kept.photo_sha256)
    modified = datetime.fromtimestamp(photo.mtime_ns / 1e9) if photo is not None and photo.mtime_ns else None
    return Source(kept.photo_sha256, kept.path, data, modified)


def _known(site: Site, tray: str, path: str) -> KnownTray:
    known = site.farm.rules.tray_of(tray, path=path)
    if known is None:
        raise HTTPException(409, "The tray is no longer in the tray list; add it and try again.")
    return known


def _set_aside_snap(site: Site, key: str) -> tuple[str, str, str]:
    """Path, checksum and tray of a photo that gave no reading."""
    with site.store.reading() as connection:
        snap = snaps.snap_of(connection, key)
    if snap is None or snap.state != snaps.SET_ASIDE or not snap.tray:
        raise HTTPException(404, "There is no such photo to be set right.")
    return snap_path(snap.sha256, snap.kind), snap.sha256, snap.tray


def _whole(site: Site, path: str, sha256: str, tray: str | None) -> Whole:
    try:
        data = site.farm.photo(path, sha256)
        record = what_is_told(site, _known(site, tray, path), sha256).record if tray is not None else None
        settings = site.farm.rules.configuration.settings
        return site.workshop.call(darkroom.whole, data, record, name=path, settings=settings)
    except PhotoError as error:
        raise HTTPException(404, str(error)) from None


def _or_inset(whole: Whole) -> tuple[tuple[float, float], ...]:
    """The corners found, or a rectangle well inside the photo to begin with."""
    w, h = whole.width_px, whole.height_px
    return whole.corners_px or ((0.15 * w, 0.15 * h), (0.85 * w, 0.15 * h), (0.85 * w, 0.85 * h), (0.15 * w, 0.85 * h))


def _corners(form: FormData) -> str:
    """The eight numbers as they are kept."""
    try:
        numbers = [float(number) for number in text_of(form, "corners").split()]
    except ValueError:
        numbers = []
    if len(numbers) != 8 or not all(math.isfinite(n) and abs(n) < _FAR_PX for n in numbers):
        raise HTTPException(422, "corners: give 8 numbers, x y of corners 0 to 3 in photo pixels.")
    return " ".join(f"{number:.1f}" for number in numbers)


def _jpeg(data: bytes) -> Response:
    return Response(data, media_type="image/jpeg", headers={"cache-control": "private, max-age=3600"})
