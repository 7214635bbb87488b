"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Trays = Annotated[
    Path | None, typer.Option(help="Tray list; by default trays.csv beside the photos or above.", show_default=False)
]
SettingsFile = Annotated[
    Path | None,
    typer.Option("--settings", help="Settings; by default canopy.toml beside the photos or above.", show_default=False),
]
StorePlace = Annotated[
    str | None,
    typer.Option(
        "--store", help="Store: a file, or postgresql://…; by default canopy.db in the farm.", show_default=False
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of words.")]
Language = Annotated[
    str | None,
    typer.Option(help="Language of what people read, such as es; by default that of the settings.", show_default=False),
]
Farm = Annotated[
    Path | None,
    typer.Argument(
        help="The farm's folder, or one inside it; by default the one that the command is run in.",
        metavar="[FOLDER]",
        show_default=False,
    ),
]
