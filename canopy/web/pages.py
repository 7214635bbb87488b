"""Pages made of templates, and the few things that every page shows."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Any

import jinja2
from fastapi import Request
from markupsafe import Markup
from starlette.responses import HTMLResponse, RedirectResponse, Response

from canopy.outputs.words import area_text, counted
from canopy.pictures.palette import BLUE, LOOKS, ORANGE, SKY_BLUE, VERMILION, WHITE, css_colour, look_of
from canopy.web.session import give_cookie, visit_of
from canopy.web.site import site_of
from canopy.words import ENGLISH
from canopy.words.templates import templates_in

STATIC_TYPES = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "webmanifest": "application/manifest+json",
}

# (address, words, role) in the order of use.
PLACES = (
    ("/snap", "Snap", "crew"),
    ("/today", "Today", "crew"),
    ("/board", "Board", "qa"),
    ("/what-if", "What if", "qa"),
)

# Of a heat map, from far below the tray's median to far above it.
SHADES = (VERMILION, ORANGE, WHITE, SKY_BLUE, BLUE)


@lru_cache(maxsize=1)
def static_files() -> dict[str, bytes]:
    """All files that pages need, by name; read once, so that no request ever names a file."""
    folder = files("canopy.web") / "static"
    found = {item.name: item.read_bytes() for item in folder.iterdir() if item.name.rpartition(".")[2] in STATIC_TYPES}
    # Colours are those of the pictures, defined once.
    style = _templates(ENGLISH).get_template("page.css").render(shades=SHADES)
    return {**found, "page.css": style.encode()}


@lru_cache(maxsize=1)
def static_version() -> str:
    """Checksum of all of them: a new version of the program has new addresses, so that no old file is used."""
    digest = hashlib.sha256()
    for name, data in sorted(static_files().items()):
        digest.update(name.encode() + data)
    return digest.hexdigest()[:12]


@lru_cache(maxsize=8)
def _templates(language: str) -> jinja2.Environment:
    environment = templates_in(language, package="canopy.web", folder="templates")
    environment.filters |= {"css": css_colour, "moment": moment, "area": area_text, "whole": whole}
    environment.globals |= {
        "looks": list(LOOKS.values()), "look_of": look_of, "counted": counted, "places": PLACES,
        "fresh_key": lambda: secrets.token_urlsafe(12),
        "static": lambda name: f"/static/{static_version()}/{name}",
    }  # fmt: skip
    return environment


def page(request: Request, template: str, *, status: int = 200, **shown: object) -> HTMLResponse:
    """A page of this visit."""
    site, visit = site_of(request), visit_of(request)
    field = Markup('<input type="hidden" name="csrf" value="{}">').format(visit.csrf)
    html = (
        _templates(site.language)
        .get_template(template)
        .render(
            visit=visit,
            language=site.language,
            path=request.url.path,
            open=site.open_to_all,
            csrf=lambda: field,
            **shown,
        )
    )
    response = HTMLResponse(html, status_code=status)
    if visit.is_new:
        give_cookie(response, site, visit.session)
    return response


def go(where: str) -> Response:
    """On to another page, by GET."""
    return RedirectResponse(where, status_code=303)


def wants_json(request: Request) -> bool:
    """Whether a script asks, and not a person's browser."""
    return "application/json" in request.headers.get("accept", "")


def moment(taken_at: object) -> str:
    """Day and time to the minute, as they were said; `time unknown` where they were not."""
    return taken_at.replace("T", " ")[:16] if isinstance(taken_at, str) and taken_at else "time unknown"


def whole(value: object) -> str:
    """A number without decimals; nothing for a missing one."""
    return f"{value:.0f}" if isinstance(value, int | float) and value == value else ""


def plain(row: Mapping[Any, Any]) -> dict[str, Any]:
    """A table's row with None where a value is missing."""
    import pandas as pd

    return {str(name): None if pd.isna(value) else value for name, value in row.items()}
