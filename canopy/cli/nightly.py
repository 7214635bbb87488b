"""The command `nightly`."""

from __future__ import annotations

import signal
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from canopy.cli.options import Farm, Json, SettingsFile, StorePlace, Trays

if TYPE_CHECKING:
    from canopy.nightly.night import Night


def nightly(
    folder: Farm = None,
    store: StorePlace = None,
    trays: Trays = None,
    settings: SettingsFile = None,
    workers: Annotated[
        int, typer.Option(min=0, help="Processes that read photos; 0: as many as there are processor cores.")
    ] = 1,
    scheduler: Annotated[
        str | None,
        typer.Option(help="Address of a Dask cluster that reads the photos instead.", show_default=False),
    ] = None,
    json: Json = False,
) -> None:
    """Take in what is new in a farm's folder, each photo once.

    Made to be started from cron every few minutes and ended at any time: readings go into the store whole or not at
    all, a second start stands back while the first one works, and files still being copied wait for the next pass.

    Exit code: 0 all good, 1 some photos were set aside in this pass, 2 usage, settings or tray list wrong.
    """
    from canopy.errors import StoreBusy
    from canopy.nightly.night import one_pass

    # Asked to end, it ends at once, but in order: the lock is given back.
    signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
    try:
        night = one_pass(folder, store=store, trays=trays, settings=settings, workers=workers, scheduler=scheduler)
    except StoreBusy as busy:
        typer.echo(f"canopy: {busy}", err=True)
        raise typer.Exit(0) from None
    (_print_json if json else _print_words)(night)
    raise typer.Exit(night.exit_code)


def _print_words(night: Night) -> None:
    """What happened, in few words; nothing at all when nothing did, so that cron sends no mail."""
    from canopy.outputs.words import counted

    for line in (*night.list_problems, *night.problems, *night.notes):
        typer.echo(f"canopy: {line}", err=True)
    for aside in night.set_aside:
        if aside.message not in night.list_problems:
            typer.echo(f"set aside: {aside.message}", err=True)
    if night.read or night.set_aside:
        waiting = f", {counted(night.waiting, 'file')} still arriving" if night.waiting else ""
        typer.echo(f"{counted(night.read, 'photo')} read, {len(night.set_aside)} set aside{waiting}.")


def _print_json(night: Night) -> None:
    import json
    from dataclasses import asdict

    typer.echo(json.dumps({**asdict(night), "exit_code": night.exit_code}))
