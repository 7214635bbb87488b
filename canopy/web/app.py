"""The page joined together: routes, guard, answers to what goes wrong."""

from __future__ import annotations

from collections.abc import AsyncIterator, Collection
from contextlib import asynccontextmanager

from anyio.to_thread import current_default_thread_limiter
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from canopy import __version__
from canopy.errors import CanopyError, StoreError
from canopy.web.guard import Guard
from canopy.web.line import Line
from canopy.web.pages import STATIC_TYPES, go, page, static_files, wants_json
from canopy.web.routes import api, board, reading, set_right, sign, snap, today, tray, what_if
from canopy.web.session import NotSignedIn, visit_of
from canopy.web.site import Site

_API = "/api/"
_THREADS = 40


def make_app(site: Site, *, hosts: Collection[str] | None) -> FastAPI:
    """The page of one farm.

    Parameters
    ----------
    site : Site
    hosts : collection of str, or None
        Names by which the page may be called; None: any, for a page that asks for a sign-in.
    """

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        current_default_thread_limiter().total_tokens = _THREADS
        app.state.line = Line(site)
        try:
            yield
        finally:
            app.state.line.close()

    # Its own pages of documentation would load scripts from elsewhere.
    app = FastAPI(
        title="canopy", version=__version__, docs_url=None, redoc_url=None, openapi_url=None, lifespan=lifespan,
    )  # fmt: skip
    app.state.site = site
    app.state.tries = sign.Tries()
    app.add_middleware(Guard, settings=lambda: site.settings, hosts=hosts)
    for routes in (sign, snap, reading, today, tray, set_right, board, what_if):
        app.include_router(routes.router, include_in_schema=False)
    app.include_router(api.router)
    _add_start_and_files(app)
    _add_refusals(app)
    return app


def _add_start_and_files(app: FastAPI) -> None:
    @app.get("/", include_in_schema=False)
    def start(request: Request) -> Response:
        """Where one begins: at the camera."""
        if visit_of(request).person is None:
            raise NotSignedIn
        return go("/snap")

    @app.get("/static/{version}/{name}", include_in_schema=False)
    def static(version: str, name: str) -> Response:  # noqa: ARG001
        """A file that pages need, out of memory."""
        return _file(name, "public, max-age=31536000, immutable")

    @app.get("/worker.js", include_in_schema=False)
    def worker() -> Response:
        """The script that shows the page while there is no network; it must lie at the top."""
        return _file("worker.js", "no-cache")


def _file(name: str, keep: str) -> Response:
    data = static_files().get(name)
    if data is None:
        raise HTTPException(404, "There is no such file.")
    kind = STATIC_TYPES[name.rpartition(".")[2]]
    return Response(data, media_type=kind, headers={"cache-control": keep})


def _add_refusals(app: FastAPI) -> None:
    @app.exception_handler(NotSignedIn)
    async def not_signed_in(request: Request, error: Exception) -> Response:  # noqa: ARG001
        if request.method != "GET" or wants_json(request) or request.headers.get("x-part"):
            return JSONResponse({"detail": "Sign in first."}, status_code=401)
        from urllib.parse import quote

        to = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return go(f"/sign-in?to={quote(to, safe='')}" if to != "/" else "/sign-in")

    @app.exception_handler(HTTPException)
    async def refused(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        return _told(request, error.status_code, error.detail, dict(error.headers or {}))

    @app.exception_handler(RequestValidationError)
    async def not_as_asked(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"][1:])
        return _told(request, 422, f"{where}: {first['msg']}", {})

    @app.exception_handler(CanopyError)
    async def cannot(request: Request, error: Exception) -> Response:
        status = 503 if isinstance(error, StoreError) else 422
        return _told(request, status, str(error), {"retry-after": "5"} if status == 503 else {})


def _told(request: Request, status: int, said: str, headers: dict[str, str]) -> Response:
    """A refusal in the words of a page, or as JSON for programs."""
    if request.url.path.startswith(_API) or wants_json(request) or request.headers.get("x-part"):
        return JSONResponse({"detail": said}, status_code=status, headers=headers)
    # Nobody is told more than the sign-in page before the sign-in.
    site: Site = request.app.state.site
    if not site.open_to_all and getattr(request.state, "visit", None) is None:
        return Response(said, status_code=status, media_type="text/plain; charset=utf-8", headers=headers)
    answer = page(request, "refused.html", status=status, said=said, code=status)
    answer.headers.update(headers)
    return answer
