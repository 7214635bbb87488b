"""The command `init`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def init(
    folder: Annotated[Path, typer.Argument(help="Folder of the photos; made when absent.", metavar="[DIR]")] = Path(),
) -> None:
    """Write starter canopy.toml and trays.csv.

    Both are full of comments and go beside the photos; nothing is overwritten.
    """
    from canopy.batch.starter import write_starter

    for path in write_starter(folder):
        typer.echo(f"Written: {path}")
    typer.echo(f"Fill in trays.csv, then: canopy score {folder} --out results")
