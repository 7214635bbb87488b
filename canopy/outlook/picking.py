"""From a farm's last photos to pick lists for machines: by a plan's cuts of one day, or by what the photos decided."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from canopy.errors import UsageError
from canopy.growth import Complaint
from canopy.growth.checks import Check
from canopy.measure.columns import as_table
from canopy.outlook.farm import Farm
from canopy.outlook.follow import Lined, standing
from canopy.outlook.typed_tables import read_typed
from canopy.outputs.export import write_table
from canopy.outputs.machine import MACHINE_COLUMNS, MachineList, Seen, as_json, doubt, machine_list
from canopy.pictures.palette import PICKED

CSV_FILE, JSON_FILE = "pick_list.csv", "pick_list.json"
Chosen = dict[str, dict[str, str | None]]
"""By tray: cell and the order that it is cut for."""


@dataclass(frozen=True)
class Picking:
    """Pick lists of a farm.

    Attributes
    ----------
    lists : tuple of MachineList
    refused : dict of tray id to str
        Trays whose places are not given, and why.
    made_for : date
    """

    lists: tuple[MachineList, ...]
    refused: dict[str, str]
    made_for: date

    def as_json(self) -> dict[str, Any]:
        """As `pick_list.schema.json` describes it."""
        return as_json(self.lists, self.refused, made_for=self.made_for)

    def table(self) -> pd.DataFrame:
        """Picks and plants not to be touched of all trays, `MACHINE_COLUMNS`."""
        parts = [part for one in self.lists for part in (one.picks, one.kept)]
        names = [column.name for column in MACHINE_COLUMNS]
        whole = pd.concat([part.astype(object) for part in parts]) if parts else pd.DataFrame(columns=names)
        return as_table({name: whole[name].tolist() for name in names}, columns=MACHINE_COLUMNS)


def chosen_by_plan(path: Path, *, farm: Farm, day: date) -> tuple[Chosen, tuple[Complaint, ...]]:
    """Cells that a plan's `cuts.csv` has for a day."""
    typed = read_typed(path, days=("date",))
    check = Check(typed.table, name="cuts", columns=("date", "tray", "cell"))
    check.day("date")
    check.known("tray", farm.trays, what="tray with readings")
    check.once(("tray", "cell"))
    good, complaints = check.result()
    chosen: Chosen = {}
    for row in good[good["date"] == pd.Timestamp(day)].to_dict("records"):
        order = row.get("order")
        chosen.setdefault(str(row["tray"]), {})[str(row["cell"])] = str(order) if order not in (None, "") else None
    return chosen, (*typed.complaints, *complaints)


def chosen_by_photo(lined: Sequence[Lined]) -> Chosen:
    """Cells that the last photos decided to harvest or transplant."""
    chosen: Chosen = {}
    for one in lined:
        cells = last_photo(one)
        picked = cells["cell"][cells["decision"].isin(PICKED).fillna(False)]
        if len(picked):
            chosen[one.name] = dict.fromkeys(picked.astype(str))
    return chosen


def last_photo(lined: Lined) -> pd.DataFrame:
    """Cells of a tray's last photo."""
    table = lined.history.table
    return pd.DataFrame(table[table["das"] == table["das"].max()])


def pick_lists(lined: Sequence[Lined], chosen: Chosen, *, farm: Farm, now: datetime) -> Picking:
    """Pick lists of the chosen cells; trays in doubt are refused."""
    lists, refused = [], {}
    for one in lined:
        if one.name not in chosen:
            continue
        turned = one.history.turns["turned"].iloc[-1]
        layout = one.tray.record.layout
        seen = Seen(one.name, layout, last_photo(one), None if pd.isna(turned) else bool(turned))
        why = doubt(seen, now=now, settings=farm.settings.picks)
        if why is None:
            there = standing(one, farm.events)["cell"].astype(str).tolist()
            # What was cut since the photo is no longer there to be picked.
            here = {cell: order for cell, order in chosen[one.name].items() if cell in there}
            lists.append(machine_list(seen, here, settings=farm.settings.picks))
        else:
            refused[one.name] = why
    return Picking(tuple(lists), refused, now.date())


def write_picking(picking: Picking, out: Path, *, significant_digits: int) -> list[Path]:
    """Write `pick_list.csv` and `pick_list.json`.

    Raises
    ------
    UsageError
        The folder or a file cannot be written.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        part = out / f"{JSON_FILE}.part"
        part.write_text(json.dumps(picking.as_json(), indent=2, allow_nan=False) + "\n", encoding="utf-8")
        part.replace(out / JSON_FILE)
    except OSError as error:
        raise UsageError(f"{out}: cannot be written ({error.strerror}); choose another --out") from None
    write_table(
        out / CSV_FILE, [picking.table()], columns=MACHINE_COLUMNS, significant_digits=max(significant_digits, 6)
    )
    return [out / CSV_FILE, out / JSON_FILE]


def counts(picking: Picking) -> Mapping[str, tuple[int, float]]:
    """Picks and length of the path of each tray, mm."""
    return {one.seen.tray: (len(one.picks), one.length_mm) for one in picking.lists}
