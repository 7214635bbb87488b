"""The commands on the store: `export`, `check`, `backup`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from canopy.cli.options import Farm, Json, SettingsFile, StorePlace


class TableName(StrEnum):
    """Tables that can be exported."""

    CELLS = "cells"
    TRAYS = "trays"
    CRITERIA = "criteria"
    REMARKS = "remarks"
    TRACE = "trace"
    CORRECTIONS = "corrections"
    HARVESTS = "harvests"


def export(
    out: Annotated[Path, typer.Option(help="File to write; its ending says how: .csv, .parquet or .xlsx.")],
    folder: Farm = None,
    table: Annotated[TableName, typer.Option(help="Which table.")] = TableName.CELLS,
    tray: Annotated[str | None, typer.Option(help="Only the readings of this tray.", show_default=False)] = None,
    store: StorePlace = None,
    settings: SettingsFile = None,
) -> None:
    """Write a table of the store to a file.

    In CSV and XLSX an apostrophe is put before texts that a spreadsheet would take for a formula.
    """
    from canopy.nightly.export import export_table
    from canopy.outputs.words import counted

    rows = export_table(folder, table.value, out, tray=tray, store=store, settings=settings)
    typer.echo(f"Written: {out}, {counted(rows, 'row')}")


def check(
    folder: Farm = None,
    store: StorePlace = None,
    settings: SettingsFile = None,
    bytes_: Annotated[bool, typer.Option("--bytes", help="Read every file again and compare its content.")] = False,
    json: Json = False,
) -> None:
    """Compare the store with its folder; change nothing.

    Exit code: 0 all is as the store has it, 1 something is not, 2 usage or store wrong.
    """
    import json as as_json
    from dataclasses import asdict

    from canopy.nightly.check import check as compare
    from canopy.nightly.farm import find_farm
    from canopy.outputs.words import counted
    from canopy.store.database import opened

    farm = find_farm(folder, store=store, settings=settings)
    with opened(farm.store, busy_timeout_s=farm.settings.store.busy_timeout_s) as kept:
        found = compare(farm.place(), kept, compare_bytes=bytes_)
    if json:
        typer.echo(as_json.dumps({**asdict(found), "exit_code": found.exit_code}))
        raise typer.Exit(found.exit_code)
    lists = (
        ("damaged", found.damage),
        ("changed since it was read", found.changed),
        ("not taken in", found.new),
        ("no longer there", found.absent),
        ("read, and no file of it is left", found.unseen),
    )
    for words, paths in lists:
        for path in paths:
            typer.echo(f"{words}: {path}")
    typer.echo(f"{counted(found.files, 'file')} as the store has them.")
    raise typer.Exit(found.exit_code)


def backup(
    out: Annotated[Path, typer.Option(help="File to write; must not be there yet.")],
    folder: Farm = None,
    store: StorePlace = None,
    settings: SettingsFile = None,
) -> None:
    """Copy the store as it is at this instant, while passes go on.

    The copy is a store itself: name it with --store. Of a store on a server, use the server's own tools.
    """
    from canopy.errors import StoreError
    from canopy.nightly.night import store_of
    from canopy.store.backup import back_up
    from canopy.store.database import sqlite_file

    place, _ = store_of(folder, store=store, settings=settings)
    file = sqlite_file(place)
    if file is None:
        raise StoreError("backup: the store is on a server; use the server's own backup (pg_dump)")
    back_up(file, out)
    typer.echo(f"Written: {out}")
