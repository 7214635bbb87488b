"""The commands `sheet draw` and `sheet check`."""

from __future__ import annotations

from enum import StrEnum
from json import dumps
from math import isnan
from pathlib import Path
from typing import Annotated

import typer

from canopy.cli.options import Json, Language, SettingsFile

sheet = typer.Typer(
    help="Print corner markers, ruler, colour card and tray labels, and check the print.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


class Paper(StrEnum):
    """Paper sizes."""

    A4 = "a4"
    LETTER = "letter"


@sheet.command()
def draw(
    out: Annotated[Path, typer.Argument(help="PDF to write.", metavar="FILE")],
    paper: Annotated[Paper, typer.Option(help="Size of the paper.")] = Paper.A4,
    trays: Annotated[
        Path | None, typer.Option(help="Tray list: a label with QR code for every tray.", show_default=False)
    ] = None,
    settings: SettingsFile = None,
    language: Language = None,
) -> None:
    """Write a PDF to print: four corner markers, rulers, a colour card, and labels for the trays of a list.

    Exit code: 0 written, 2 usage, settings or tray list wrong.
    """
    from canopy.batch.sheets import write_sheet

    labels = write_sheet(out, paper=paper.value, trays=trays, settings=settings, language=language)
    typer.echo(f"Written: {out}" + (f" (labels: {labels})" if trays is not None else ""))
    typer.echo("Print it at 100 %, lay a bank or membership card on its field, photograph it: canopy sheet check PHOTO")


@sheet.command()
def check(
    photo: Annotated[Path, typer.Argument(help="Photo of the whole print, not yet cut, with a card on its field.")],
    settings: SettingsFile = None,
    json: Json = False,
) -> None:
    """Check from a photo that a sheet was printed at 100 %.

    A card of the size of bank cards (85.60 × 53.98 mm) must lie on the chequered field.

    Exit code: 0 printed at 100 %, 1 at another scale or it cannot be told, 2 usage or settings wrong.
    """
    from canopy.batch.sheets import check_sheet_photo
    from canopy.errors import PhotoError

    try:
        checked = check_sheet_photo(photo, settings=settings)
    except PhotoError as error:
        typer.echo(f"set aside: {error}", err=True)
        raise typer.Exit(1) from None
    if json:
        seen = {"across": checked.across, "down": checked.down}
        scales = {name: None if isnan(value) else round(value, 4) for name, value in seen.items()}
        typer.echo(dumps({"photo": photo.name, "paper": checked.paper, "good": checked.good, **scales}))
    else:
        typer.echo(f"{photo.name}: {checked.words}")
    raise typer.Exit(0 if checked.good else 1)
