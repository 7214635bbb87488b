"""The commands `view save` and `view check`."""

from __future__ import annotations

from json import dumps
from pathlib import Path
from typing import Annotated

import typer

from canopy.cli.options import Json, SettingsFile, Trays

view = typer.Typer(
    help="Save where a tray lies for a camera that does not move, and check that it still does.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
Name = Annotated[str, typer.Argument(help="Name of the view.", metavar="NAME")]


@view.command()
def save(
    name: Name,
    photo: Annotated[
        Path, typer.Option(help="A photo of that camera; its line of the tray list says how to find the tray.")
    ],
    tray: Annotated[
        str | None, typer.Option(help="Which tray, when the photo shows several.", show_default=False)
    ] = None,
    trays: Trays = None,
    settings: SettingsFile = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a view of that name.")] = False,
    json: Json = False,
) -> None:
    """Save the corners of a tray as a fixed camera sees them.

    Writes views/NAME.json and views/NAME.jpg beside the tray list; then write NAME into its column `view`.

    Exit code: 0 saved, 1 the tray is not found in the photo, 2 usage, settings or tray list wrong.
    """
    from canopy.batch.views import save_photo_as_view
    from canopy.errors import PhotoError

    try:
        path, saved = save_photo_as_view(name, photo, tray=tray, trays=trays, settings=settings, replace=replace)
    except PhotoError as error:
        typer.echo(f"set aside: {error}", err=True)
        raise typer.Exit(1) from None
    if json:
        typer.echo(dumps({"file": str(path), "located_by": saved.located_by, "corners_px": saved.corners_px}))
        return
    corners = " ".join(f"{value:.0f}" for corner in saved.corners_px for value in corner)
    typer.echo(f"Written: {path} and {path.stem}.jpg (located by {saved.located_by}; corners {corners})")
    typer.echo(f"Write {name} into the column `view` of the tray list.")


@view.command()
def check(
    name: Name,
    photo: Annotated[Path, typer.Argument(help="A later photo of that camera.", exists=True, dir_okay=False)],
    trays: Trays = None,
    settings: SettingsFile = None,
    json: Json = False,
) -> None:
    """Check whether a saved view holds for a photo.

    Exit code: 0 it holds, 1 the camera or the tray moved or it cannot be told, 2 usage or settings wrong.
    """
    from canopy.batch.views import check_photo_by_view

    checked = check_photo_by_view(name, photo, trays=trays, settings=settings)
    if json:
        typer.echo(dumps({"photo": checked.photo, "holds": checked.holds, "message": checked.message}))
    else:
        typer.echo(f"{checked.photo}: {checked.message}" if checked.holds else f"set aside: {checked.message}")
    raise typer.Exit(0 if checked.holds else 1)
