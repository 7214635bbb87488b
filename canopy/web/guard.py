"""Around every request: which host, how much, how slowly; and what browsers are told to keep to."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Collection

from starlette.datastructures import MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from canopy.settings import WebSettings

# No script, style, picture or connection from anywhere but here; nothing inline; no page within another's frame.
CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), geolocation=(), microphone=()",
}
_MB = 1_000_000


class TooMuch(Exception):
    """The body is larger, or comes more slowly, than allowed; `status` says which."""

    def __init__(self, status: int, said: str) -> None:
        """Set the answer's status and words."""
        super().__init__(said)
        self.status = status


class Guard:
    """ASGI middleware that stands before everything else."""

    def __init__(self, app: ASGIApp, *, settings: Callable[[], WebSettings], hosts: Collection[str] | None) -> None:
        """Take the limits; `hosts` are the names by which the page may be called, None: any."""
        self.app, self._settings, self._hosts = app, settings, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or let the page answer."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def send_with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers[name] = value
                if "cache-control" not in headers:
                    headers["cache-control"] = "no-store"
            await send(message)

        refusal = self._refused(scope)
        if refusal is not None:
            await refusal(scope, receive, send_with_headers)
            return
        try:
            await self.app(scope, self._bounded(receive), send_with_headers)
        except TooMuch as too_much:
            if started:
                raise
            answer = PlainTextResponse(str(too_much), status_code=too_much.status, headers={"connection": "close"})
            await answer(scope, receive, send_with_headers)

    def _refused(self, scope: Scope) -> PlainTextResponse | None:
        headers = {name: value for name, value in scope["headers"] if name in {b"host", b"content-length"}}
        host = headers.get(b"host", b"").decode("latin-1").rsplit(":", 1)[0].strip("[]").lower()
        # A page of another site that has its name point here must not be answered: this machine asks for no sign-in.
        if self._hosts is not None and host not in self._hosts:
            return PlainTextResponse("This page is not known by that name.", status_code=400)
        length = headers.get(b"content-length", b"0")
        if not length.isdigit():
            return PlainTextResponse("content-length: not a number", status_code=400)
        if int(length) > self._most():
            return PlainTextResponse(_too_large(self._most()), status_code=413, headers={"connection": "close"})
        return None

    def _most(self) -> int:
        settings = self._settings()
        return round(settings.upload_max_mb * _MB * settings.upload_count_max + settings.form_max_kb * 1000)

    def _bounded(self, receive: Receive) -> Receive:
        settings = self._settings()
        most, got = self._most(), 0
        loop = asyncio.get_running_loop()
        ends, body_is_whole = loop.time() + settings.body_total_s, False

        async def bounded() -> Message:
            nonlocal got, body_is_whole
            if body_is_whole:  # what comes now is that the other side has gone; that may take its time
                return await receive()
            try:
                message = await asyncio.wait_for(receive(), min(settings.body_idle_s, max(0.0, ends - loop.time())))
            except TimeoutError:
                raise TooMuch(408, "The sending came too slowly and was ended; send it again.") from None
            if message["type"] == "http.request":
                got += len(message.get("body", b""))
                body_is_whole = not message.get("more_body", False)
                if got > most:
                    raise TooMuch(413, _too_large(most))
            return message

        return bounded


def _too_large(most: int) -> str:
    return f"This is larger than the {most / _MB:.0f} MB that are taken at once; send fewer or smaller photos."
