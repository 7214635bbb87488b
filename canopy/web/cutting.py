"""What is to be cut today, tray by tray in walking order, and what was cut; a tick sent twice counts once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from canopy.outputs.palette import PICKED, Look, look_of
from canopy.store import people
from canopy.store.logbook import Harvest, add_harvest
from canopy.store.newest import CellNow, cells_in_short, latest
from canopy.store.notebook import cut_cells, grams_cut
from canopy.store.people import Deed
from canopy.store.snaps import first_time
from canopy.web.farm import KnownTray, rack_of, walking_order
from canopy.web.site import Site


@dataclass(frozen=True)
class ToCut:
    """One tray of today's list.

    Attributes
    ----------
    tray, rack : str
    reading : int
    taken_at : str
    known : KnownTray or None
    look : Look
        What is done with its plants.
    rows : list of (row's letter, cells)
        Cells to cut in walking order.
    cut : set of str
        Those that are cut.
    grams : float
        Weighed today.
    """

    tray: str
    rack: str
    reading: int
    taken_at: str
    known: KnownTray | None
    look: Look
    rows: list[tuple[str, list[CellNow]]]
    cut: set[str]
    grams: float

    @property
    def count(self) -> int:
        """Cells on the list."""
        return sum(len(cells) for _, cells in self.rows)

    @property
    def left(self) -> int:
        """Cells still to be cut."""
        return sum(cell.cell not in self.cut for _, cells in self.rows for cell in cells)


def todays_list(site: Site, *, rack: str = "") -> list[ToCut]:
    """Trays with something to cut, in walking order; those of old photos are left out."""
    since = (date.fromisoformat(site.today) - timedelta(days=site.settings.today_days)).isoformat()
    trays = site.farm.rules.trays
    with site.store.reading() as connection:
        new = [one for one in latest(connection) if one.ready and (one.taken_at or "") >= since]
        if rack:
            new = [one for one in new if rack_of(one.tray) == rack]
        cells = cells_in_short(connection, [one.id for one in new])
        grams = grams_cut(connection, on=site.today)
        cut = {one.tray: cut_cells(connection, one.tray, since=(one.taken_at or "")[:10]) for one in new}
    listed = []
    for one in sorted(new, key=lambda one: walking_order(one.tray)):
        picks = [cell for cell in cells[one.id] if cell.decision in PICKED]
        if picks:
            done = {cell.cell for cell in picks if cut[one.tray].get(cell.cell, 0) > 0}
            listed.append(
                ToCut(one.tray, rack_of(one.tray), one.id, one.taken_at or "", trays.get(one.tray),
                      look_of(picks[0].decision), _by_row(picks), done, grams.get(one.tray, 0.0))
            )  # fmt: skip
    return listed


@dataclass(frozen=True)
class Tick:
    """A cell that was cut, or that was not after all.

    Attributes
    ----------
    tray, cell : str
    done : bool
        False: an earlier tick is taken back.
    key : str
        Given by whoever sends it.
    cut_on : str
        Day, ISO 8601.
    since : str
        Day of the photo by which it was to be cut: ticks from then on are about the same plant.
    """

    tray: str
    cell: str
    done: bool
    key: str
    cut_on: str
    since: str


def write_tick(site: Site, tick: Tick, *, by: str, address: str) -> bool:
    """Write a tick down; False where that was written already.

    The same key, or the same state of the cell, is written once, whoever sends it and however often.
    """
    tray, cell, done, key = tick.tray, tick.cell, tick.done, tick.key
    with site.store.writing() as connection:
        if not first_time(connection, key, at=site.now, by=by, what="tick"):
            return False
        heads = cut_cells(connection, tray, since=tick.since).get(cell, 0)
        if (heads > 0) == done:
            return False
        note = "" if done else "taken back"
        add_harvest(connection, Harvest(site.now, by, tray, cell, tick.cut_on, 1 if done else -heads, None, note))
        people.note(connection, Deed(site.now, by, "cut" if done else "cut taken back", f"{tray} {cell}", address))
    return True


def weigh(site: Site, *, tray: str, grams: float, key: str, by: str, address: str) -> bool:
    """Write down grams cut of a tray today; False where that was written already."""
    with site.store.writing() as connection:
        if not first_time(connection, key, at=site.now, by=by, what="grams"):
            return False
        add_harvest(connection, Harvest(site.now, by, tray, "", site.today, None, grams))
        people.note(connection, Deed(site.now, by, "weighed", f"{tray} {grams:g} g", address))
    return True


def _by_row(cells: list[CellNow]) -> list[tuple[str, list[CellNow]]]:
    rows: dict[str, list[CellNow]] = {}
    for cell in cells:
        rows.setdefault(cell.cell.rstrip("0123456789"), []).append(cell)
    return list(rows.items())
