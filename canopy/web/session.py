"""Who asks: session cookies, roles, and tokens that tell a person's own forms from anybody else's."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated

from anyio.to_thread import run_sync
from fastapi import Depends, Request
from itsdangerous import BadSignature, Signer
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.responses import Response

from canopy.store import people
from canopy.store.people import ROLES, Person
from canopy.web.site import Site, site_of

COOKIE = "canopy_session"
CSRF_FIELD = "csrf"
CSRF_HEADER = "x-csrf-token"
LOCAL = Person("local", "admin", "", "")
_FIELDS_MAX = 200


class NotSignedIn(Exception):
    """Nobody is signed in, and the page shows nothing to nobody."""


@dataclass(frozen=True)
class Visit:
    """Who asks.

    Attributes
    ----------
    session : str
        Id of the session; of nobody's session before the sign-in.
    csrf : str
        What every form of this session must carry.
    person : Person or None
    address : str
    is_new : bool
        The cookie is still to be given.
    """

    session: str
    csrf: str
    person: Person | None
    address: str
    is_new: bool = False

    @property
    def name(self) -> str:
        """The person's name; empty for nobody."""
        return self.person.name if self.person is not None else ""

    def may(self, role: str) -> bool:
        """Whether the person has the rights of a role."""
        return self.person is not None and ROLES.index(self.person.role) >= ROLES.index(role)


def visit_of(request: Request) -> Visit:
    """Who asks, by the cookie; looked up once a request."""
    known: Visit | None = getattr(request.state, "visit", None)
    if known is None:
        known = _looked_up(request, site_of(request))
        request.state.visit = known
    return known


def _looked_up(request: Request, site: Site) -> Visit:
    address = request.client.host if request.client is not None else ""
    try:
        session = _signer(site).unsign(request.cookies.get(COOKIE, "")).decode("ascii")
        is_new = False
    except (BadSignature, UnicodeError):
        session, is_new = secrets.token_urlsafe(32), True
    with site.store.reading() as connection:
        if site.open_to_all and people.anybody(connection):
            site.open_to_all = False  # from the first person on, people sign in
        if site.open_to_all:
            person: Person | None = LOCAL
        else:
            person = None if is_new else people.person_of_session(connection, id_hash(session), now=site.now)
    return Visit(session, _csrf(site, session), person, address, is_new)


def id_hash(text: str) -> str:
    """What is kept of a session's id or a token."""
    return hashlib.sha256(text.encode()).hexdigest()


def give_cookie(response: Response, site: Site, session: str) -> None:
    """Set the session's cookie."""
    response.set_cookie(
        COOKIE,
        _signer(site).sign(session).decode("ascii"),
        max_age=round(3600 * site.settings.session_hours),
        httponly=True,
        samesite="strict",
        secure=site.secure_cookies,
        path="/",
    )


def new_session(site: Site, person: Person) -> str:
    """Begin a session under an id that nobody has seen before the sign-in."""
    session = secrets.token_urlsafe(32)
    ends_at = site.clock() + timedelta(hours=site.settings.session_hours)
    with site.store.writing() as connection:
        people.begin_session(
            connection,
            id_hash(session),
            person.name,
            made_at=site.now,
            ends_at=ends_at.isoformat(timespec="seconds"),
        )
    return session


def needs(role: str) -> Callable[[Request], Visit]:
    """What a page asks for that is for people of a role only."""

    def allowed(request: Request) -> Visit:
        visit = visit_of(request)
        if visit.person is None:
            raise NotSignedIn
        if not visit.may(role):
            raise HTTPException(403, f"This is for {role} only; you are signed in as {visit.person.role}.")
        return visit

    return allowed


Crew = Annotated[Visit, Depends(needs("crew"))]
QA = Annotated[Visit, Depends(needs("qa"))]
Admin = Annotated[Visit, Depends(needs("admin"))]


async def own_form(request: Request) -> AsyncIterator[FormData]:
    """The fields of a form that this session's own page sent; its files are closed when the answer is made.

    Raises
    ------
    HTTPException
        403: it comes from elsewhere. 400: it cannot be read.
    """
    site = site_of(request)
    if request.headers.get("sec-fetch-site", "same-origin") not in {"same-origin", "none"}:
        raise HTTPException(403, "This form comes from another site.")
    try:
        form = await request.form(
            max_files=site.settings.upload_count_max,
            max_fields=_FIELDS_MAX,
            max_part_size=round(1000 * site.settings.form_max_kb),
        )
    except MultiPartException as error:
        raise HTTPException(400, f"This form cannot be read: {error.message}") from None
    try:
        visit = await run_sync(visit_of, request)
        given = request.headers.get(CSRF_HEADER) or form.get(CSRF_FIELD)
        if not isinstance(given, str) or not hmac.compare_digest(given.encode(), visit.csrf.encode()):
            raise HTTPException(403, "This form is not yours or too old; load the page again and send it once more.")
        yield form
    finally:
        await form.close()


Form = Annotated[FormData, Depends(own_form)]


def text_of(form: FormData, name: str, *, most: int = 500) -> str:
    """A text field, without space around it; empty where it is absent.

    Raises
    ------
    HTTPException
        422: it is longer than anybody would write.
    """
    value = form.get(name, "")
    if not isinstance(value, str):
        raise HTTPException(422, f"{name}: is a file; give text.")
    if len(value) > most:
        raise HTTPException(422, f"{name}: has {len(value)} characters; give {most} at most.")
    return value.strip()


def _signer(site: Site) -> Signer:
    return Signer(site.key, salt="canopy session", digest_method=hashlib.sha256)


def _csrf(site: Site, session: str) -> str:
    return hmac.new(site.key.encode(), f"form {session}".encode(), hashlib.sha256).hexdigest()
