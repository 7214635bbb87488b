"""The command `learn`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from canopy.cli.options import Json, SettingsFile, StorePlace, Trays
from canopy.cli.outlook import Farm, Tables, day_of


def learn(
    folder: Farm,
    outcomes: Annotated[
        Path | None, typer.Option(help="Outcomes; by default outcomes.csv or .xlsx in FOLDER.", show_default=False)
    ] = None,
    write: Annotated[
        Path | None, typer.Option(help="New file for the recipes that outcomes bear out.", show_default=False)
    ] = None,
    store: StorePlace = None,
    trays: Trays = None,
    settings: SettingsFile = None,
    tables: Tables = None,
    json: Json = False,
) -> None:
    """Weights and bounds of recipes, learnt from how past cuts turned out.

    Shows what would change and how it would have decided on trays that it was not learnt from. Recipes stay as they
    are; with --write the new ones are put into a file of their own.

    Exit code: 0 all good, 1 lines were left out, 2 usage, settings or tray list wrong.
    """
    import json as as_json

    from canopy.cli.columns import in_columns
    from canopy.errors import UsageError
    from canopy.outlook.farm import read_farm
    from canopy.outlook.follow import line_up_trays
    from canopy.outlook.learning import OUTCOMES, check_outcomes, learn_recipes, write_recipes
    from canopy.outlook.typed_tables import find_typed, read_typed
    from canopy.outlook.written import as_records, shown_rows

    farm = read_farm(folder, store=store, trays=trays, settings=settings, tables_in=tables)
    below = tables or folder
    typed = read_typed(outcomes, days=("date",)) if outcomes else find_typed(below, OUTCOMES, days=("date",))
    if typed is None:
        raise UsageError(f"{below / OUTCOMES}.csv: no such table; write one (tray, cell, date, outcome)")
    good, wrong = check_outcomes(typed, trays=farm.records)
    lined, bad = line_up_trays(farm, list(farm.trays.values()), today=day_of(None))
    learnt, unmatched = learn_recipes(good, lined, settings=farm.settings)
    complaints = list(dict.fromkeys([*farm.complaints, *wrong, *bad, *unmatched]))
    written = write_recipes(learnt, write) if write is not None else []
    if json:
        shown = [
            {"crop": crop, "stage": stage, "better": one.proposal.better, "said": one.proposal.said,
             "changes": as_records(one.proposal.changes), "evidence": as_records(one.proposal.evidence)}
            for (crop, stage), one in learnt.items()
        ]  # fmt: skip
        told = {"recipes": shown, "complaints": [str(c) for c in complaints], "written": written}
        typer.echo(as_json.dumps({**told, "exit_code": int(bool(complaints))}))
        raise typer.Exit(int(bool(complaints)))
    for complaint in complaints:
        typer.echo(f"canopy: {complaint}", err=True)
    for (crop, stage), one in learnt.items():
        typer.echo(f"{crop} {stage}: {one.proposal.said}")
        for table in (one.proposal.evidence, one.proposal.changes):
            if rows := shown_rows(table):
                typer.echo(in_columns(rows[0], rows[1:]))
    for name in written:
        typer.echo(f"Written: {write}, {name}")
    raise typer.Exit(int(bool(complaints)))
