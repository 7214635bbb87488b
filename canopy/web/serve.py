"""Starting the page: bound to this machine unless told otherwise, and beyond it for people who sign in only."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from canopy.errors import UsageError
from canopy.nightly.night import store_of
from canopy.store import people
from canopy.store.database import opened
from canopy.web.app import make_app
from canopy.web.farm import Asked, Farm
from canopy.web.site import Site
from canopy.web.workshop import Workshop

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
_GRACE_S = 5


@dataclass(frozen=True)
class Door:
    """Where the page is reached.

    Attributes
    ----------
    host : str
        Address to listen at.
    port : int
    certificate, key : pathlib.Path or None
        TLS, in PEM files.
    behind_proxy : bool
        A reverse proxy on this machine does TLS and passes requests on.
    """

    host: str = "127.0.0.1"
    port: int = 8080
    certificate: Path | None = None
    key: Path | None = None
    behind_proxy: bool = False

    @property
    def tls(self) -> bool:
        """Whether the page does TLS itself."""
        return self.certificate is not None

    @property
    def beyond_this_machine(self) -> bool:
        """Whether other machines can reach the page."""
        return self.behind_proxy or not is_loopback(self.host)

    @property
    def warnings(self) -> list[str]:
        """What is not as safe as it could be."""
        if not self.beyond_this_machine or self.tls or self.behind_proxy:
            return []
        return [
            "PINs and pictures go over the network unencrypted; give --certificate and --key, or put a reverse proxy "
            "with TLS before it (--behind-proxy)"
        ]

    def checked(self) -> Door:
        """The same, when it can be used.

        Raises
        ------
        UsageError
            A file is missing, or half a certificate was given.
        """
        if (self.certificate is None) != (self.key is None):
            raise UsageError("--certificate and --key: give both, or neither")
        for option, path in (("--certificate", self.certificate), ("--key", self.key)):
            if path is not None and not path.is_file():
                raise UsageError(f"{option}: {path}: no such file; check the path")
        return self


@contextmanager
def site_for(
    folder: Path, *, door: Door, store: str | None = None, trays: Path | None = None, settings: Path | None = None
) -> Iterator[Site]:
    """Everything that the page works with, closed at the end of the block.

    Raises
    ------
    UsageError
        Other machines could reach it and nobody may sign in; or a file cannot be used.
    """
    farm = Farm(folder, asked=Asked(trays, settings))
    place, wait_s = store_of(folder, store=store, settings=settings)
    with opened(place, busy_timeout_s=wait_s, make=True) as kept:
        with kept.reading() as connection:
            somebody = people.anybody(connection)
        if door.beyond_this_machine and not somebody:
            raise UsageError(
                f"--host {door.host}: other machines could reach the page, and nobody may sign in yet; add people "
                "first: canopy people add FOLDER NAME --role admin"
            )
        web = farm.rules.configuration.settings.web
        workshop = Workshop(workers=web.workers, memory_mb=web.worker_memory_mb, time_s=web.worker_time_s)
        try:
            secure = door.tls or door.behind_proxy
            yield Site(farm, kept, workshop, open_to_all=not somebody, secure_cookies=secure)
        finally:
            workshop.close()


def serve(site: Site, door: Door) -> None:
    """Answer requests until the process is asked to end."""
    import uvicorn

    hosts = LOOPBACK_NAMES if site.open_to_all else None
    config = uvicorn.Config(
        make_app(site, hosts=hosts),
        host=door.host,
        port=door.port,
        ssl_certfile=door.certificate,
        ssl_keyfile=door.key,
        proxy_headers=door.behind_proxy,
        forwarded_allow_ips="127.0.0.1" if door.behind_proxy else None,
        server_header=False,
        log_level="warning",
        timeout_keep_alive=15,
        h11_max_incomplete_event_size=64 * 1024,
        timeout_graceful_shutdown=_GRACE_S,
    )
    uvicorn.Server(config).run()


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach an address to listen at."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def addresses(door: Door) -> list[str]:
    """Where the page is found, to be shown."""
    scheme = "https" if door.tls else "http"
    host = door.host
    if host in ("0.0.0.0", "::"):
        host = _own_address()
    shown = f"[{host}]" if ":" in host else host
    return [f"{scheme}://{shown}:{door.port}/"]


def _own_address() -> str:
    """This machine's address on its network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        try:
            one.connect(("192.0.2.1", 9))  # RFC 5737: an address for documentation, routed nowhere
            return str(one.getsockname()[0])
        except OSError:
            return socket.gethostname()
