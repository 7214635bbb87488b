"""The commands on days to come: `grow`, `forecast`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from canopy.cli.options import Json, SettingsFile, StorePlace, Trays

if TYPE_CHECKING:
    import pandas as pd

    from canopy.measure.columns import Column
    from canopy.settings import Settings

Farm = Annotated[Path, typer.Argument(help="Folder that the cameras fill.", metavar="FOLDER")]
OneTray = Annotated[str | None, typer.Argument(help="Only this tray.", metavar="[TRAY]", show_default=False)]
On = Annotated[
    str | None, typer.Option("--on", help="Day of asking, such as 2026-05-14; by default today.", show_default=False)
]
Tables = Annotated[
    Path | None,
    typer.Option(
        help="Folder of the tables that you keep (events, weigh_ins …); by default FOLDER.", show_default=False
    ),
]
Out = Annotated[Path | None, typer.Option(help="Folder to write the tables into, as CSV.", show_default=False)]


def grow(
    folder: Farm,
    tray: OneTray = None,
    on: On = None,
    out: Out = None,
    store: StorePlace = None,
    trays: Trays = None,
    settings: SettingsFile = None,
    tables: Tables = None,
    json: Json = False,
) -> None:
    """How trays grow, and where to look first.

    Reads the store, changes nothing in it. With --out also every plant's curve (plants.csv).

    Exit code: 0 all good, 1 lines of your tables or trays were left out, 2 usage, settings or tray list wrong.
    """
    from canopy.outlook.farm import read_farm
    from canopy.outlook.follow import followed_trays
    from canopy.outlook.tables import growth_tables

    farm = read_farm(folder, store=store, trays=trays, settings=settings, tables_in=tables)
    today = day_of(on)
    followed, weights, complaints, said = followed_trays(farm, tray=tray, today=today)
    found = growth_tables(followed, weights, today=today, settings=farm.settings)
    shown = {"growth": found["growth"], "alerts": found["alerts"]}
    finish(found, shown, out=out, as_json=json, settings=farm.settings, complaints=complaints, said=said)


def forecast(
    folder: Farm,
    tray: OneTray = None,
    on: On = None,
    out: Out = None,
    store: StorePlace = None,
    trays: Trays = None,
    settings: SettingsFile = None,
    tables: Tables = None,
    json: Json = False,
) -> None:
    """When trays are ready, how many plants and grams on each day, and what will be too late.

    Reads the store, changes nothing in it. With --out also every plant's day (ready.csv).

    Exit code: 0 all good, 1 lines of your tables or trays were left out, 2 usage, settings or tray list wrong.
    """
    from canopy.outlook.farm import read_farm
    from canopy.outlook.follow import followed_trays
    from canopy.outlook.tables import forecast_tables

    farm = read_farm(folder, store=store, trays=trays, settings=settings, tables_in=tables)
    today = day_of(on)
    followed, weights, complaints, said = followed_trays(farm, tray=tray, today=today)
    found = forecast_tables(followed, weights, today=today, settings=farm.settings)
    shown = {"forecast": found["forecast"].drop(columns="note")}
    if tray is not None:
        shown["days"] = found["days"].drop(columns=["tray", "crop", "note"])
        said = (*said, *found["forecast"]["note"])
    finish(found, shown, out=out, as_json=json, settings=farm.settings, complaints=complaints, said=said)


def ready(
    folder: Farm,
    tray: OneTray = None,
    on: On = None,
    out: Out = None,
    store: StorePlace = None,
    trays: Trays = None,
    settings: SettingsFile = None,
    tables: Tables = None,
    json: Json = False,
) -> None:
    """What is ready now by the last photos and what was measured by hand, and how many plugs to pull.

    Reads the store, changes nothing in it. With --out also every plant's sum (cells.csv).

    Exit code: 0 all good, 1 lines of your tables or trays were left out, 2 usage, settings or tray list wrong.
    """
    from canopy.outlook.farm import read_farm
    from canopy.outlook.follow import line_up_trays
    from canopy.outlook.hand import READY_NOW_COLUMNS, ready_now

    farm = read_farm(folder, store=store, trays=trays, settings=settings, tables_in=tables)
    today = day_of(on)
    lined, wrong = line_up_trays(farm, farm.only(tray), today=today)
    found = ready_now(lined, farm.events, farm.measured, today=today, settings=farm.settings.readiness)
    finish(
        found, {"now": found["now"]}, out=out, as_json=json, settings=farm.settings,
        complaints=list(dict.fromkeys([*farm.complaints, *wrong])), said=farm.said if tray is None else (),
        columns=READY_NOW_COLUMNS,
    )  # fmt: skip


def day_of(text: str | None) -> date:
    """The day of asking."""
    from canopy.errors import UsageError

    if text is None:
        return date.today()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"--on `{text}` is not a day; write it like 2026-05-14") from None


def finish(
    tables: dict[str, pd.DataFrame],
    shown: dict[str, pd.DataFrame],
    *,
    out: Path | None,
    as_json: bool,
    settings: Settings,
    complaints: Sequence[object],
    said: Sequence[str],
    columns: Mapping[str, Sequence[Column]] | None = None,
    wanting: bool = False,
) -> None:
    """Write the tables when asked, print what is to be shown, and end with exit code 1 when something is wanting."""
    from canopy.cli.columns import in_columns
    from canopy.outlook.tables import TABLE_COLUMNS
    from canopy.outlook.written import as_records, shown_rows, write_tables

    written = []
    if out is not None:
        written = write_tables(tables, out, settings=settings.outputs, columns=columns or TABLE_COLUMNS)
    left_out = bool(complaints) or wanting
    if as_json:
        import json

        data = {name: as_records(table) for name, table in tables.items()}
        told = {"complaints": [str(c) for c in complaints], "said": list(said)}
        typer.echo(json.dumps({**data, **told, "written": [str(path) for path in written], "exit_code": int(left_out)}))
        raise typer.Exit(int(left_out))
    for line in (*(str(c) for c in complaints), *said):
        typer.echo(f"canopy: {line}", err=True)
    for table in shown.values():
        if rows := shown_rows(table):
            typer.echo(in_columns(rows[0], rows[1:]))
    for path in written:
        typer.echo(f"Written: {path}")
    raise typer.Exit(int(left_out))
