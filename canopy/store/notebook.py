"""What people have said and done, as a page asks for it: cut cells of a tray, corrections, notes, recipe versions."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, bindparam, insert, select

from canopy.store.schema import CORRECTIONS, HARVESTS, RECIPE_VERSIONS, SEEN_NOTES


def cut_cells(connection: Connection, tray: str, *, since: str) -> dict[str, int]:
    """Heads cut of each cell of a tray from a day on (ISO 8601); those taken back count against."""
    wanted = select(HARVESTS.c.cell, HARVESTS.c.heads).where(
        HARVESTS.c.tray == tray, HARVESTS.c.harvested_on >= since, HARVESTS.c.cell != ""
    )
    heads: dict[str, int] = {}
    for cell, number in connection.execute(wanted):
        heads[cell] = heads.get(cell, 0) + (1 if number is None else number)
    return heads


def grams_cut(connection: Connection, *, on: str) -> dict[str, float]:
    """Grams cut of each tray on a day."""
    wanted = select(HARVESTS.c.tray, HARVESTS.c.weight_g).where(
        HARVESTS.c.harvested_on == on, HARVESTS.c.weight_g.is_not(None)
    )
    grams: dict[str, float] = {}
    for tray, weight in connection.execute(wanted):
        grams[tray] = grams.get(tray, 0.0) + weight
    return grams


@dataclass(frozen=True)
class Word:
    """A correction with its number, in the order they were made."""

    id: int
    recorded_at: str
    by: str
    photo_sha256: str
    cell: str
    column: str
    value: str | None
    note: str


def words_about(connection: Connection, tray: str) -> list[Word]:
    """All corrections of a tray, oldest first."""
    columns = [CORRECTIONS.c[name] for name in Word.__dataclass_fields__]
    wanted = select(*columns).where(CORRECTIONS.c.tray == tray).order_by(CORRECTIONS.c.id)
    return [Word(*row) for row in connection.execute(wanted)]


def sown_days(connection: Connection) -> dict[str, str | None]:
    """Day of sowing (ISO 8601) of every tray of which a person has said one, in the last word; None: taken back."""
    wanted = select(CORRECTIONS.c.tray, CORRECTIONS.c.value).where(CORRECTIONS.c.column == "sown_on")
    return {row.tray: row.value for row in connection.execute(wanted.order_by(CORRECTIONS.c.id))}


@dataclass(frozen=True)
class SeenNote:
    """A person has looked at a tray.

    Attributes
    ----------
    recorded_at, by, tray : str
    taken_at : str
        Time of the newest photo then; empty where unknown.
    note : str
    """

    recorded_at: str
    by: str
    tray: str
    taken_at: str
    note: str


def add_note(connection: Connection, note: SeenNote) -> None:
    """Add a note."""
    connection.execute(insert(SEEN_NOTES).values(vars(note)))


def last_notes(connection: Connection, trays: Sequence[str]) -> dict[str, SeenNote]:
    """The last note of each of some trays."""
    columns = [SEEN_NOTES.c[name] for name in SeenNote.__dataclass_fields__]
    wanted = select(*columns).where(SEEN_NOTES.c.tray.in_(bindparam("trays", expanding=True)))
    rows = connection.execute(wanted.order_by(SEEN_NOTES.c.id), {"trays": list(trays)})
    return {row.tray: SeenNote(*row) for row in rows}


def add_recipe(connection: Connection, recipe: dict[str, object], *, at: str, by: str, note: str) -> int:
    """Add a version of a recipe; its number comes back."""
    values = {"recorded_at": at, "by": by, "note": note, "crop": recipe["crop"], "stage": recipe["stage"]}
    made = insert(RECIPE_VERSIONS).values(**values, recipe=json.dumps(recipe, sort_keys=True))
    return int(connection.execute(made.returning(RECIPE_VERSIONS.c.id)).scalar_one())


def saved_recipes(connection: Connection) -> dict[tuple[str, str], tuple[int, dict[str, object]]]:
    """The newest version of each recipe that was saved: its number and its fields, by crop and stage."""
    columns = RECIPE_VERSIONS.c
    rows = connection.execute(select(columns.id, columns.crop, columns.stage, columns.recipe).order_by(columns.id))
    return {(row.crop, row.stage): (row.id, json.loads(row.recipe)) for row in rows}
