"""The command `tidy`."""

from __future__ import annotations

from typing import Annotated

import typer

from canopy.cli.options import Farm, SettingsFile, StorePlace


def tidy(
    folder: Farm = None,
    delete: Annotated[bool, typer.Option("--delete", help="Delete; without it nothing is changed.")] = False,
    store: StorePlace = None,
    settings: SettingsFile = None,
) -> None:
    """Say which pictures are older than the settings keep them; delete them when told so.

    photos_days and overlays_days under [nightly.keep]; by default everything is kept. A photo goes only when all its
    readings are in a store that is whole, nobody corrected it, and its file is byte by byte the one that was read.

    Exit code: 0 all good, 1 something that is due was kept, 2 usage, settings or store wrong.
    """
    import time

    from canopy.nightly.farm import find_farm
    from canopy.nightly.tidy import tidy as clear
    from canopy.outputs.words import counted

    farm = find_farm(folder, store=store, settings=settings)
    found = clear(farm, delete=delete, now_ns=time.time_ns())
    for path in found.deleted:
        typer.echo(f"{'deleted' if delete else 'would be deleted'}: {path}")
    for line in found.kept:
        typer.echo(f"kept: {line}", err=True)
    done = "deleted" if delete else "would be deleted; say --delete"
    typer.echo(f"{counted(len(found.deleted), 'file')}, {found.size / 1e6:.1f} MB, {done}.")
    raise typer.Exit(int(bool(found.kept)))
