"""The command `plan`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from canopy.cli.options import Json, SettingsFile, StorePlace, Trays
from canopy.cli.outlook import Farm, On, Out, Tables, day_of, finish


def plan(
    folder: Farm,
    orders: Annotated[
        Path | None, typer.Option(help="Orders; by default orders.csv or .xlsx in FOLDER.", show_default=False)
    ] = None,
    whole_tray: Annotated[bool, typer.Option("--whole-tray", help="Cut trays whole or not at all.")] = False,
    on: On = None,
    out: Out = None,
    store: StorePlace = None,
    trays: Trays = None,
    settings: SettingsFile = None,
    tables: Tables = None,
    json: Json = False,
) -> None:
    """What to cut on which day for the orders; orders that fall short come first.

    Reads the store, changes nothing in it. With --out it writes every cut (cuts.csv) and every order (filled.csv).

    Exit code: 0 all orders are met, 1 some fall short or lines of your tables were left out, 2 usage, settings or tray
    list wrong.
    """
    from canopy.outlook.cutting import PLAN_COLUMNS, cuts_by_tray, plan_farm, plan_tables, read_orders
    from canopy.outlook.farm import read_farm
    from canopy.outlook.follow import followed_trays

    farm = read_farm(folder, store=store, trays=trays, settings=settings, tables_in=tables)
    today = day_of(on)
    crops = {record.crop for record in farm.records.values() if record.crop}
    wanted, wrong = read_orders(tables or folder, orders, crops=crops, today=today)
    chosen = farm.settings
    if whole_tray:
        chosen = chosen.model_copy(update={"plan": chosen.plan.model_copy(update={"whole_tray": True})})
    followed, weights, complaints, said = followed_trays(farm, tray=None, today=today)
    made, words = plan_farm(followed, weights, wanted, today=today, settings=chosen)
    found = plan_tables(made)
    finish(
        found, {"filled": found["filled"].drop(columns="said"), "cuts": cuts_by_tray(made)}, out=out, as_json=json,
        settings=chosen, complaints=(*complaints, *wrong), said=(*words, *said), columns=PLAN_COLUMNS,
        wanting=bool((made.orders["short"] > 0).any()),
    )  # fmt: skip
