"""The command `layouts`."""

from __future__ import annotations

from pathlib import Path

import typer

from canopy.cli.options import Json, SettingsFile


def layouts(settings: SettingsFile = None, json: Json = False) -> None:
    """List the named tray layouts.

    Cells, pitch, outline, and where the sizes come from; own layouts too, when run inside a farm folder or with
    --settings.

    Any other tray is written in the tray list as rows x columns, such as 6x12, with pitch_mm and outline_mm.
    """
    from canopy.batch.plan import configuration_for
    from canopy.cli.columns import in_columns, one_json
    from canopy.tray import named_layouts

    known = list({**named_layouts(), **configuration_for([Path()], given=settings).layouts}.values())
    if json:
        typer.echo(one_json("layouts", [layout.model_dump(mode="json") for layout in known]))
        return
    rows = [
        (
            layout.name,
            f"{layout.rows} x {layout.columns}",
            f"{layout.pitch_x_mm:g}x{layout.pitch_y_mm:g}",
            f"{layout.outline_width_mm:g}x{layout.outline_height_mm:g}",
            layout.source,
        )
        for layout in known
    ]
    typer.echo(in_columns(("layout", "rows x columns", "pitch_mm", "outline_mm", "source"), rows))
