"""The commands `serve` and `people`."""

from __future__ import annotations

from contextlib import AbstractContextManager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from canopy.cli.options import Json, SettingsFile, StorePlace, Trays
from canopy.errors import UsageError

if TYPE_CHECKING:
    from canopy.store.database import Store

Farm = Annotated[Path, typer.Argument(help="Folder of the photos and the tray list.", metavar="FOLDER")]
Name = Annotated[str, typer.Argument(help="The person's name.", metavar="NAME")]


class Role(StrEnum):
    """Roles, each with all rights of those before it."""

    CREW = "crew"
    QA = "qa"
    ADMIN = "admin"


class Scope(StrEnum):
    """What a token may allow."""

    READ = "read"
    HARVEST = "harvest"


def serve(
    folder: Farm,
    host: Annotated[str, typer.Option(help="Address to listen at; beyond this machine people must sign in.")] = (
        "127.0.0.1"
    ),
    port: Annotated[int, typer.Option(help="Port.", min=1, max=65535)] = 8080,
    certificate: Annotated[Path | None, typer.Option(help="TLS certificate, PEM.", show_default=False)] = None,
    key: Annotated[Path | None, typer.Option(help="Its key, PEM.", show_default=False)] = None,
    behind_proxy: Annotated[
        bool, typer.Option("--behind-proxy", help="A reverse proxy on this machine does TLS.")
    ] = False,
    store: StorePlace = None,
    trays: Trays = None,
    settings: SettingsFile = None,
) -> None:
    """Show the page on the phone: snap, cut, set right, compare.

    Ends when asked to (Ctrl-C). Photos from phones are kept in FOLDER/snaps.
    """
    _require_extra()
    from canopy.web.serve import Door, addresses, site_for
    from canopy.web.serve import serve as run

    door = Door(host, port, certificate, key, behind_proxy).checked()
    with site_for(folder, door=door, store=store, trays=trays, settings=settings) as site:
        for warning in door.warnings:
            typer.echo(f"canopy: warning: {warning}", err=True)
        for problem in site.farm.rules.problems:
            typer.echo(f"canopy: {problem}", err=True)
        for address in addresses(door):
            typer.echo(f"The page is at {address}")
        run(site, door)


people = typer.Typer(help="Who may use the page, and programs that may.", no_args_is_help=True, rich_markup_mode=None)


@people.command()
def add(
    folder: Farm,
    name: Name,
    role: Annotated[Role, typer.Option(help="crew: snap and cut; qa: the board too; admin: recipes too.")] = Role.CREW,
    store: StorePlace = None,
    settings: SettingsFile = None,
) -> None:
    """Add a person, or give one a new PIN; it is asked for, or read from the first line of the input."""
    _require_extra()
    import sys
    from datetime import UTC, datetime

    from canopy.batch.plan import configuration_for
    from canopy.store.people import Deed, Person, note, put_person
    from canopy.web.passwords import hashed

    if not name.strip() or len(name) > 100 or not name.isprintable():
        raise UsageError("NAME: give 1 to 100 letters")
    least = configuration_for([folder], given=settings).settings.web.pin_length_min
    if sys.stdin.isatty():
        pin = typer.prompt(f"PIN or password for {name} ({least} characters at least)", hide_input=True,
                           confirmation_prompt=True)  # fmt: skip
    else:
        pin = sys.stdin.readline().rstrip("\r\n")
    secret, now = hashed(pin, length_min=least), datetime.now(UTC).isoformat(timespec="seconds")
    with _opened(folder, store, settings) as kept, kept.writing() as connection:
        put_person(connection, Person(name.strip(), role.value, secret, now))
        note(connection, Deed(now, "command line", "person added", f"{name} {role.value}"))
    typer.echo(f"Added: {name}, {role.value}")


@people.command(name="list")
def list_(folder: Farm, store: StorePlace = None, settings: SettingsFile = None, json: Json = False) -> None:
    """List the people."""
    from canopy.cli.columns import in_columns, one_json
    from canopy.store.people import people as everybody

    with _opened(folder, store, settings) as kept, kept.reading() as connection:
        found = everybody(connection)
    if json:
        rows = [{"name": one.name, "role": one.role, "active": one.active} for one in found]
        typer.echo(one_json("people", rows))
        return
    rows_ = [(one.name, one.role, "may sign in" if one.active else "may not sign in") for one in found]
    typer.echo(in_columns(("name", "role", ""), rows_))


@people.command()
def remove(folder: Farm, name: Name, store: StorePlace = None, settings: SettingsFile = None) -> None:
    """Let a person sign in no more, and end the sessions; what the person wrote down stays."""
    from dataclasses import replace
    from datetime import UTC, datetime

    from canopy.store.people import Deed, note, person_of, put_person

    with _opened(folder, store, settings) as kept, kept.writing() as connection:
        person = person_of(connection, name)
        if person is None:
            raise UsageError(f"NAME: nobody is called `{name}`; see `canopy people list`")
        put_person(connection, replace(person, active=False))
        note(connection, Deed(datetime.now(UTC).isoformat(timespec="seconds"), "command line", "person removed", name))
    typer.echo(f"Removed: {name}")


@people.command()
def token(
    folder: Farm,
    name: Annotated[str, typer.Argument(help="Name of the program.", metavar="NAME")],
    scope: Annotated[list[Scope] | None, typer.Option(help="What it may do; may be given twice.")] = None,
    store: StorePlace = None,
    settings: SettingsFile = None,
) -> None:
    """Make a token for a program; an earlier one of this name is no longer good. It is shown once."""
    import hashlib
    import secrets
    from datetime import UTC, datetime

    from canopy.store.people import Deed, Token, note, put_token

    scopes = " ".join(dict.fromkeys(one.value for one in scope or [Scope.READ]))
    text, now = secrets.token_urlsafe(32), datetime.now(UTC).isoformat(timespec="seconds")
    with _opened(folder, store, settings) as kept, kept.writing() as connection:
        put_token(connection, Token(hashlib.sha256(text.encode()).hexdigest(), name, scopes, now))
        note(connection, Deed(now, "command line", "token made", f"{name} {scopes}"))
    typer.echo(text)


@people.command()
def log(
    folder: Farm,
    most: Annotated[int, typer.Option(help="Lines, the newest first.", min=1)] = 50,
    store: StorePlace = None,
    settings: SettingsFile = None,
) -> None:
    """Show who did what: sign-ins, photos, ticks, corrections, recipes, people."""
    from canopy.cli.columns import in_columns
    from canopy.store.people import deeds

    with _opened(folder, store, settings) as kept, kept.reading() as connection:
        rows = [
            [_harmless(text) for text in (one.at, one.by, one.what, one.about, one.address)]
            for one in deeds(connection, most=most)
        ]
    typer.echo(in_columns(("at", "by", "what", "about", "from"), rows))


def _opened(folder: Path, store: str | None, settings: Path | None) -> AbstractContextManager[Store]:
    """The farm's store, made when there is none."""
    from canopy.nightly.night import store_of
    from canopy.store.database import opened

    if not folder.is_dir():
        raise UsageError(f"{folder}: no such folder; check the path")
    place, wait_s = store_of(folder, store=store, settings=settings)
    return opened(place, busy_timeout_s=wait_s, make=True)


def _harmless(text: str) -> str:
    """Text of anybody's making without what would move a terminal's cursor."""
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text)


def _require_extra() -> None:
    import importlib.util

    for package in ("fastapi", "uvicorn", "argon2", "itsdangerous", "multipart"):
        if importlib.util.find_spec(package) is None:
            raise UsageError(f"serve: needs the package {package}; install canopy with its extra `web`")
