"""The command `picks`."""

from __future__ import annotations

from datetime import datetime, time
from pathlib import Path
from typing import Annotated

import typer

from canopy.cli.options import SettingsFile, StorePlace, Trays
from canopy.cli.outlook import Farm, On, OneTray, Tables, day_of


def picks(
    folder: Farm,
    out: Annotated[Path, typer.Option(help="Folder to write pick_list.csv and pick_list.json into.")],
    tray: OneTray = None,
    cuts: Annotated[
        Path | None,
        typer.Option(
            help="cuts.csv of `plan`: its cells of the day; without it, what the photos decided.", show_default=False
        ),
    ] = None,
    on: On = None,
    store: StorePlace = None,
    trays: Trays = None,
    settings: SettingsFile = None,
    tables: Tables = None,
) -> None:
    """Pick lists for machines: places in tray millimetres, a short path, and what not to touch.

    Places of a tray whose grid is in doubt are not given.

    Exit code: 0 all good, 1 trays were refused or lines left out, 2 usage, settings or tray list wrong.
    """
    from canopy.outlook.farm import read_farm
    from canopy.outlook.follow import line_up_trays
    from canopy.outlook.picking import chosen_by_photo, chosen_by_plan, counts, pick_lists, write_picking
    from canopy.outputs.machine import CAUTION

    farm = read_farm(folder, store=store, trays=trays, settings=settings, tables_in=tables)
    today = day_of(on)
    lined, wrong = line_up_trays(farm, farm.only(tray), today=today)
    chosen, bad = (chosen_by_photo(lined), ()) if cuts is None else chosen_by_plan(cuts, farm=farm, day=today)
    # A day that is asked for is taken to its end.
    now = datetime.now() if on is None else datetime.combine(today, time.max)
    picking = pick_lists(lined, chosen, farm=farm, now=now)
    written = write_picking(picking, out, significant_digits=farm.settings.outputs.significant_digits)
    for line in dict.fromkeys([*map(str, farm.complaints), *map(str, wrong), *map(str, bad), *farm.said]):
        typer.echo(f"canopy: {line}", err=True)
    for name, why in picking.refused.items():
        typer.echo(f"refused: {name}: {why}", err=True)
    for name, (number, length) in counts(picking).items():
        typer.echo(f"{name}: {number} to pick, path {length / 1000:.2f} m")
    typer.echo(f"Caution: {CAUTION}")
    for path in written:
        typer.echo(f"Written: {path}")
    raise typer.Exit(int(bool(picking.refused or bad or wrong or farm.complaints)))
