"""What every request may use: the farm, its store, the processes that measure, the clock."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cached_property

from fastapi import Request

from canopy.settings import WebSettings
from canopy.store import people
from canopy.store.database import Store
from canopy.web.farm import Farm
from canopy.web.workshop import Workshop

_COOKIE_KEY = "cookies"


def _now() -> datetime:
    return datetime.now(UTC)


@dataclass
class Site:
    """All that the page works with.

    Attributes
    ----------
    farm : Farm
    store : Store
    workshop : Workshop
    open_to_all : bool
        True: whoever reaches the page may do everything (nobody else can: it is bound to this machine alone).
    secure_cookies : bool
        True: cookies are sent over TLS only.
    clock : callable
        The time, UTC.
    """

    farm: Farm
    store: Store
    workshop: Workshop
    open_to_all: bool = False
    secure_cookies: bool = False
    clock: Callable[[], datetime] = field(default=_now)

    @property
    def settings(self) -> WebSettings:
        """Settings of the page."""
        return self.farm.rules.configuration.settings.web

    @property
    def language(self) -> str:
        """Of the pages, as of the report."""
        return self.farm.rules.configuration.settings.outputs.language

    @property
    def now(self) -> str:
        """ISO 8601, UTC, to the second."""
        return self.clock().isoformat(timespec="seconds")

    @property
    def today(self) -> str:
        """The day on this machine's wall clock, ISO 8601."""
        return self.clock().astimezone().date().isoformat()

    @cached_property
    def key(self) -> str:
        """What cookies are signed with; made at the first start and kept in the store."""
        with self.store.writing() as connection:
            key = people.secret(connection, _COOKIE_KEY)
            if key is None:
                key = secrets.token_hex(32)
                people.put_secret(connection, _COOKIE_KEY, key)
        return key


def site_of(request: Request) -> Site:
    """The site that a request came to."""
    site: Site = request.app.state.site
    return site
