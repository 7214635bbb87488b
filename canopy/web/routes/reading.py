"""One reading: its picture with cells to tap, what to cut, and the sum behind each cell."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from canopy.errors import PhotoError
from canopy.store.newest import Kept
from canopy.web.measuring import picture_of
from canopy.web.pages import page
from canopy.web.session import Crew
from canopy.web.site import Site, site_of
from canopy.web.view import kept_reading, sum_of_cell, view_of

router = APIRouter()


def kept_or_none_found(site: Site, number: int) -> Kept:
    """A reading; the request ends where there is none."""
    kept = kept_reading(site, number) if 0 < number < 2**31 else None
    if kept is None:
        raise HTTPException(404, "There is no such reading.")
    return kept


@router.get("/readings/{number}")
def reading_page(request: Request, number: int, visit: Crew) -> Response:
    """The answer to a photo."""
    site = site_of(request)
    return page(request, "reading.html", reading=view_of(site, kept_or_none_found(site, number)))


@router.get("/readings/{number}/cells/{cell}")
def cell_page(request: Request, number: int, cell: str, visit: Crew) -> Response:
    """The sum behind one cell."""
    site = site_of(request)
    kept = kept_or_none_found(site, number)
    lines = sum_of_cell(site, kept, cell)
    if not lines:
        raise HTTPException(404, "The tray has no such cell.")
    reading = view_of(site, kept)
    own = next(one for one in reading.cells if one.cell == cell)
    part = request.headers.get("x-part") == "1"  # a script shows it within the page
    return page(request, "cell_part.html" if part else "cell.html", reading=reading, own=own, lines=lines)


@router.get("/pictures/{number}.jpg")
def picture(request: Request, number: int, visit: Crew) -> Response:
    """The tray from above."""
    site = site_of(request)
    try:
        data, _ = picture_of(site, kept_or_none_found(site, number))
    except PhotoError as error:
        raise HTTPException(404, str(error)) from None
    # A reading is never changed, and neither is its picture.
    return Response(data, media_type="image/jpeg", headers={"cache-control": "private, max-age=604800, immutable"})
