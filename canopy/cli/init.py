"""The command `init`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def init(
    folder: Annotated[Path, typer.Argument(help="Folder of the farm; made when absent.", metavar="[DIR]")] = Path(),
) -> None:
    """Make a farm folder: starter canopy.toml and trays.csv, folders for recipes and views, a store.

    The files are full of comments; nothing is overwritten. Photos go into the folder or below it, and commands are run
    from anywhere inside.
    """
    from canopy.nightly.farm import make_farm

    for path in make_farm(folder):
        typer.echo(f"Written: {path}")
    typer.echo(f"Fill in trays.csv, then: canopy score {folder} --out results")
