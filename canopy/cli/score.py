"""The command `score`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from canopy.cli.options import Json, Language, SettingsFile, Trays


def score(
    photos: Annotated[list[Path], typer.Argument(help="Photos, or folders of photos.", metavar="PHOTO|FOLDER…")],
    out: Annotated[Path, typer.Option(help="Folder for tables, pictures and report; made when absent.")],
    trays: Trays = None,
    settings: SettingsFile = None,
    masks: Annotated[bool, typer.Option("--masks", help="Also write which plant each pixel belongs to.")] = False,
    workers: Annotated[
        int, typer.Option(min=0, help="Photos worked on at a time; 0: as many as there are processor cores.")
    ] = 0,
    language: Language = None,
    json: Json = False,
) -> None:
    """Photos in; tables, pick list and report out.

    Measures and scores every cell of every photo and writes tables, pictures, a pick list and a report.

    Exit code: 0 all good, 1 some photos were set aside (each with its reason), 2 usage, settings or tray list wrong.
    """
    from canopy.batch.score import score_photos
    from canopy.cli.progress import shown_progress
    from canopy.cli.summary import print_json, print_words

    with shown_progress(quiet=json) as progress:
        run = score_photos(
            photos,
            out=out,
            trays=trays,
            settings=settings,
            masks=masks,
            workers=workers,
            language=language,
            progress=progress,
        )
    (print_json if json else print_words)(run)
    raise typer.Exit(run.exit_code)
