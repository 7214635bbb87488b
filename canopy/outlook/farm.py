"""All that is known of a farm's trays: readings of the store, the tray list, and the tables that people keep."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd
from sqlalchemy import Connection

from canopy.batch.plan import configuration_for, tray_list_for
from canopy.batch.trays_csv import TrayList
from canopy.errors import UsageError
from canopy.growth import Complaint, check_events, check_weigh_ins
from canopy.growth.checks import check_temperatures
from canopy.growth.events import EVENT_COLUMNS
from canopy.growth.measured import MEASURED_COLUMNS, check_measured
from canopy.growth.weigh_ins import WEIGH_IN_COLUMNS
from canopy.nightly.night import store_of
from canopy.outlook.typed_tables import find_typed
from canopy.records import CropRecipe, TrayRecord
from canopy.records.text import TEXT_TYPE
from canopy.settings import Settings
from canopy.store.database import opened
from canopy.store.logbook import harvests
from canopy.store.readings import table, tables

EVENTS, WEIGH_INS, TEMPERATURES, MEASURED = "events", "weigh_ins", "temperatures", "measured"
"""Names of the tables that people keep, each `.csv` or `.xlsx`."""
_KEPT = (
    "photo", "tray", "taken_at", "row", "col", "cell", "state", "das", "area_mm2", "area_low_mm2", "area_high_mm2",
    "cover", "exg", "ngrdi", "gli", "dgci", "hue_deg", "yellow_fraction", "brown_fraction", "decision", "readiness",
    "reason", "x_mm", "y_mm", "diameter_mm",
)  # fmt: skip
"""Columns of cells that are followed over days; the others would fill memory."""


OF_TRAY = ("evenness", "emergence", "cover", "cv_area")
"""Columns of trays that a recipe may judge; they stand beside the cells as `tray_evenness` and so on."""


@dataclass(frozen=True)
class FarmTray:
    """One tray.

    Attributes
    ----------
    record : TrayRecord
        With its day of sowing and one layout.
    recipe : CropRecipe
    cells : pandas.DataFrame
        Readings of its cells over all photos; `located_by`, `quality` and `tilt_deg` of these besides.
    """

    record: TrayRecord
    recipe: CropRecipe
    cells: pd.DataFrame


@dataclass(frozen=True)
class Farm:
    """A farm.

    Attributes
    ----------
    settings : Settings
    trays : dict of tray id to FarmTray
        Those that can be followed, by name.
    records : dict of tray id to TrayRecord
        All of the tray list.
    events, weigh_ins : pandas.DataFrame
        As `check_events` and `check_weigh_ins` give them; harvests of the store are among the events.
    temperatures : pandas.DataFrame or None
        None: growth runs by days.
    measured : pandas.DataFrame
        As `check_measured` gives it.
    complaints : tuple of Complaint
        Lines of tables that could not be used.
    said : tuple of str
        Trays that cannot be followed, and why.
    """

    settings: Settings
    trays: dict[str, FarmTray]
    records: dict[str, TrayRecord]
    events: pd.DataFrame
    weigh_ins: pd.DataFrame
    temperatures: pd.DataFrame | None
    measured: pd.DataFrame
    complaints: tuple[Complaint, ...]
    said: tuple[str, ...]

    def only(self, tray: str | None) -> list[FarmTray]:
        """The tray of this id, or all.

        Raises
        ------
        UsageError
            There is no such tray among those that can be followed.
        """
        if tray is None:
            return list(self.trays.values())
        if tray in self.trays:
            return [self.trays[tray]]
        why = next((line for line in self.said if line.startswith(f"{tray}: ")), None)
        raise UsageError(why or f"{tray}: no tray of this id has readings; see `canopy export` with --table trays")


def read_farm(
    folder: Path,
    *,
    store: str | None = None,
    trays: Path | None = None,
    settings: Path | None = None,
    tables_in: Path | None = None,
) -> Farm:
    """Read a farm; nothing is written.

    Parameters
    ----------
    folder : pathlib.Path
        Folder of the photos.
    store, trays, settings
        As of `canopy.nightly.night.one_pass`.
    tables_in : pathlib.Path, optional
        Folder of the tables that people keep; by default that of the photos.

    Raises
    ------
    UsageError, StoreError
        Tray list, settings, store or a table as a whole cannot be used.
    """
    configuration = configuration_for([folder], given=settings)
    tray_list, _ = tray_list_for(folder, given=trays, configuration=configuration)
    place, wait_s = store_of(folder, store=store, settings=settings)
    with opened(place, busy_timeout_s=wait_s) as kept, kept.reading() as connection:
        cells = _cells(connection, at_once=configuration.settings.store.readings_at_once)
        harvested = _harvests(connection)
    records, recipes = _records(tray_list)
    found, said = _followed(cells, records, recipes)
    kept_tables, complaints = _kept_tables(tables_in or folder, records, harvested)
    events, weigh_ins, temperatures, measured = kept_tables
    left_out = (*tray_list.problems, *said)
    return Farm(
        configuration.settings, found, records, events, weigh_ins, temperatures, measured, tuple(complaints), left_out
    )


def _kept_tables(
    below: Path, records: Mapping[str, TrayRecord], harvested: pd.DataFrame
) -> tuple[tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame | None, pd.DataFrame], list[Complaint]]:
    """Events (harvests of the store among them), weigh-ins, temperatures and measurements, each checked."""
    complaints: list[Complaint] = []
    noted = _typed(below, EVENTS, ("date",), complaints)
    events, wrong = check_events(_none_of(EVENT_COLUMNS) if noted is None else noted, trays=records)
    cut, unknown = check_events(harvested, trays=records)
    # The store's rows are no lines of a file of events.
    complaints += [*wrong, *(replace(complaint, table="harvests of the store") for complaint in unknown)]
    events = pd.concat([events, cut], ignore_index=True)
    weighed = _typed(below, WEIGH_INS, ("date",), complaints)
    weigh_ins, wrong = check_weigh_ins(_none_of(WEIGH_IN_COLUMNS) if weighed is None else weighed, trays=records)
    complaints += wrong
    temperatures = _typed(below, TEMPERATURES, ("date",), complaints)
    if temperatures is not None:
        temperatures, wrong = check_temperatures(temperatures)
        complaints += wrong
    by_hand = _typed(below, MEASURED, ("date",), complaints)
    measured, wrong = check_measured(_none_of(MEASURED_COLUMNS) if by_hand is None else by_hand, trays=records)
    return (events, weigh_ins, temperatures, measured), [*complaints, *wrong]


def _none_of(columns: tuple[str, ...]) -> pd.DataFrame:
    return pd.DataFrame({name: [] for name in columns}, dtype="object")


def _typed(folder: Path, stem: str, days: tuple[str, ...], complaints: list[Complaint]) -> pd.DataFrame | None:
    typed = find_typed(folder, stem, days=days)
    if typed is None:
        return None
    complaints += typed.complaints
    return typed.table


def _cells(connection: Connection, *, at_once: int) -> pd.DataFrame:
    """Cells of all readings with how their trays were located."""
    labels = ["photo", "tray", "taken_at"]
    trays = table(connection, "trays").drop_duplicates(labels)
    located = trays[[*labels, "located_by", "quality", "tilt_deg"]].assign(
        **{f"tray_{name}": trays[name] for name in OF_TRAY}
    )
    cells = pd.concat([part[list(_KEPT)] for part in tables(connection, "cells", at_once=at_once)], ignore_index=True)
    return cells.merge(located, on=labels, how="left")


def _harvests(connection: Connection) -> pd.DataFrame:
    """Harvests of the store as events."""
    book = harvests(connection).rename(columns={"harvested_on": "date"})
    events = book.assign(event=pd.Series(["harvested"] * len(book), index=book.index, dtype=TEXT_TYPE))
    # The store's rows have no line of a file; they count from 1 as the harvest book does.
    return events.assign(line=range(1, len(events) + 1))[[*EVENT_COLUMNS, "line"]].astype({"date": "object"})


def _records(tray_list: TrayList) -> tuple[dict[str, TrayRecord], dict[str, CropRecipe]]:
    """Record and recipe of each tray of the list; of several trays in a picture each has its own name."""
    records: dict[str, TrayRecord] = {}
    recipes: dict[str, CropRecipe] = {}
    for line in tray_list.lines:
        if line.record is None:
            continue
        for name in line.tray_ids:
            records.setdefault(name, line.record.model_copy(update={"tray": name}))
            if line.recipe is not None:
                recipes.setdefault(name, line.recipe)
    return records, recipes


def _followed(
    cells: pd.DataFrame, records: Mapping[str, TrayRecord], recipes: Mapping[str, CropRecipe]
) -> tuple[dict[str, FarmTray], list[str]]:
    found, said = {}, []
    for tray, own in cells.groupby("tray", sort=True):
        name = str(tray)
        try:
            record = _one_layout(_known(name, records), own)
        except UsageError as error:
            said.append(str(error))
            continue
        recipe = recipes.get(name)
        if recipe is None or record.sown_on is None:
            lacks = "crop" if recipe is None else "sown_on"
            said.append(f"{name}: cannot be followed without `{lacks}`; add it to the tray list")
            continue
        found[name] = FarmTray(record, recipe, own.reset_index(drop=True))
    return found, said


def _known(name: str, records: Mapping[str, TrayRecord]) -> TrayRecord:
    if name not in records:
        raise UsageError(f"{name}: has readings but is not in the tray list; add a line for it")
    return records[name]


def _one_layout(record: TrayRecord, cells: pd.DataFrame) -> TrayRecord:
    """The record with the layout that its photos showed."""
    if not record.layout_choices:
        return record
    size = (int(cells["row"].max()), int(cells["col"].max()))
    fitting = [layout for layout in record.layout_choices if (layout.rows, layout.columns) == size]
    if len(fitting) != 1:
        raise UsageError(f"{record.tray}: several layouts have {size[0]} x {size[1]} cells; name its `layout`")
    return record.model_copy(update={"layout": fitting[0], "layout_choices": ()})
