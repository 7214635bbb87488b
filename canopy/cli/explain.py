"""The command `explain`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from canopy.cli.options import Json, SettingsFile, Trays


def explain(
    photo: Annotated[Path, typer.Argument(help="The photo.", exists=True, dir_okay=False)],
    cell: Annotated[str, typer.Argument(help="The cell, such as B4.")],
    tray: Annotated[
        str | None, typer.Option(help="Which tray, when the photo shows several.", show_default=False)
    ] = None,
    trays: Trays = None,
    settings: SettingsFile = None,
    json: Json = False,
) -> None:
    """Show the sum behind one cell's decision.

    Exit code: 0 all good, 1 the photo gives no reading, 2 usage, settings or tray list wrong.
    """
    from canopy.batch.explanation import explain_photo
    from canopy.errors import PhotoError

    try:
        explanation = explain_photo(photo, cell, tray=tray, trays=trays, settings=settings)
    except PhotoError as error:
        typer.echo(f"set aside: {error}", err=True)
        raise typer.Exit(1) from None
    typer.echo(explanation.as_json() if json else "\n".join(explanation.lines))
