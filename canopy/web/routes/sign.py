"""Signing in and out: names are locked after failures, addresses are slowed, sessions begin afresh."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict, deque
from datetime import timedelta
from urllib.parse import urlsplit

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from canopy.store import people
from canopy.store.people import Deed, Person
from canopy.web.pages import go, page
from canopy.web.passwords import LONGEST, is_right
from canopy.web.session import Form, give_cookie, id_hash, new_session, text_of, visit_of
from canopy.web.site import Site, site_of

router = APIRouter()

# The same for a wrong PIN, an unknown name and a locked one.
_WRONG = "Name and PIN do not go together. After several failures a name is locked for some minutes."
_MINUTE_S = 60.0
_ADDRESSES_MAX = 10_000
_DOUBLINGS_MAX = 8


class Tries:
    """How often each address has tried in the last minute; forgets the oldest addresses."""

    def __init__(self) -> None:
        """Nobody has tried yet."""
        self._times: OrderedDict[str, deque[float]] = OrderedDict()
        self._lock = threading.Lock()

    def too_many(self, address: str, *, most: int) -> bool:
        """Count one more try; whether that is too many."""
        now = time.monotonic()
        with self._lock:
            times = self._times.setdefault(address, deque(maxlen=most + 1))
            self._times.move_to_end(address)
            while len(self._times) > _ADDRESSES_MAX:
                self._times.popitem(last=False)
            while times and now - times[0] > _MINUTE_S:
                times.popleft()
            times.append(now)
            return len(times) > most


@router.get("/sign-in")
def sign_in_page(request: Request, to: str = "/") -> Response:
    """The form."""
    if visit_of(request).person is not None:
        return go("/")
    return page(request, "sign_in.html", to=_own_place(to), wrong="")


@router.post("/sign-in")
def sign_in(request: Request, form: Form) -> Response:
    """Look at name and PIN."""
    site, visit = site_of(request), visit_of(request)
    name, secret, to = text_of(form, "name"), text_of(form, "pin", most=LONGEST), _own_place(text_of(form, "to"))
    tries: Tries = request.app.state.tries
    if tries.too_many(visit.address, most=site.settings.address_tries_max):
        raise HTTPException(429, "Too many sign-ins from here; wait a minute.", headers={"retry-after": "60"})
    person, wrong = _checked(site, name, secret, visit.address)
    if person is None:
        return page(request, "sign_in.html", status=403, to=to, wrong=wrong)
    session = new_session(site, person)
    answer = go(to)
    give_cookie(answer, site, session)
    return answer


@router.post("/sign-out")
def sign_out(request: Request, form: Form) -> Response:
    """End the session."""
    site, visit = site_of(request), visit_of(request)
    with site.store.writing() as connection:
        people.end_session(connection, id_hash(visit.session))
        people.note(connection, Deed(site.now, visit.name, "sign-out", "", visit.address))
    answer = go("/sign-in")
    answer.delete_cookie("canopy_session")
    return answer


def _checked(site: Site, name: str, secret: str, address: str) -> tuple[Person | None, str]:
    """The person, or why nobody is signed in; never says which names there are."""
    with site.store.reading() as connection:
        person = people.person_of(connection, name)
    if person is not None and person.locked_until is not None and person.locked_until > site.now:
        is_right(secret, None)
        _note(site, name, "sign-in refused: locked", address)
        return None, _WRONG
    good = is_right(secret, person.secret if person is not None and person.active else None)
    if person is None or not good:
        _count_failure(site, person)
        _note(site, name, "sign-in failed", address)
        return None, _WRONG
    with site.store.writing() as connection:
        people.note_failure(connection, name, failures=0, locked_until=None)
        people.note(connection, Deed(site.now, name, "sign-in", "", address))
    return person, ""


def _count_failure(site: Site, person: Person | None) -> None:
    if person is None:
        return
    settings = site.settings
    with site.store.writing() as connection:
        now = people.person_of(connection, person.name)
        failures = (now.failures if now is not None else 0) + 1
        locked_until = None
        if failures >= settings.failures_max:
            lock_s = settings.lock_s * 2 ** min(failures - settings.failures_max, _DOUBLINGS_MAX)
            locked_until = (site.clock() + timedelta(seconds=lock_s)).isoformat(timespec="seconds")
        people.note_failure(connection, person.name, failures=failures, locked_until=locked_until)


def _note(site: Site, name: str, what: str, address: str) -> None:
    with site.store.writing() as connection:
        people.note(connection, Deed(site.now, name[:100], what, "", address))


def _own_place(to: str) -> str:
    """Where to go on to: a place of this page, or its start."""
    parts = urlsplit(to)
    own = to.startswith("/") and not to.startswith(("//", "/\\")) and not parts.scheme and not parts.netloc
    return to if own and to.isprintable() and "\\" not in to else "/"
