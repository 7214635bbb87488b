"""The command `crops`."""

from __future__ import annotations

from pathlib import Path

import typer

from canopy.cli.options import Json, SettingsFile


def crops(settings: SettingsFile = None, json: Json = False) -> None:
    """List the crop recipes.

    Name, stage, and what each is judged by; own recipes too, when run inside a farm folder or with --settings.
    """
    from canopy.batch.plan import configuration_for
    from canopy.cli.columns import in_columns, one_json

    configuration = configuration_for([Path()], given=settings)
    known = list(configuration.recipes.values())
    if json:
        typer.echo(one_json("crops", [recipe.model_dump(mode="json", exclude_none=True) for recipe in known]))
        return
    rows = [
        (recipe.crop, recipe.stage, recipe.title, ", ".join(named.name for named in recipe.criteria))
        for recipe in known
    ]
    typer.echo(in_columns(("crop", "stage", "name", "judged by"), rows))
