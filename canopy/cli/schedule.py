"""The command `schedule`."""

from __future__ import annotations

from typing import Annotated

import typer

from canopy.cli.options import Farm, SettingsFile, StorePlace


def schedule(
    folder: Farm = None,
    user: Annotated[str, typer.Option(help="User that runs the passes; not root.")] = "canopy",
    every: Annotated[int, typer.Option(min=1, max=1440, help="Minutes between passes.")] = 5,
    workers: Annotated[
        int, typer.Option(min=0, help="Processes that read photos; 0: as many as there are processor cores.")
    ] = 1,
    store: StorePlace = None,
    settings: SettingsFile = None,
) -> None:
    """Print what starts passes by the clock: systemd service and timer, or a cron line, and log rotation.

    Nothing is installed: read it, and put it in place.
    """
    import sys
    from pathlib import Path

    from canopy.nightly.farm import find_farm
    from canopy.nightly.schedule import schedule as parts_of

    farm = find_farm(folder, store=store, settings=settings)
    program = Path(sys.executable).parent / "canopy"
    for part in parts_of(farm, program=program, user=user, every_min=every, workers=workers):
        typer.echo(f"# --- {part.name}: {part.where}\n{part.text}")
