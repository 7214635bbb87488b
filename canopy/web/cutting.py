"""What is to be cut today, tray by tray in walking order, and what was cut; a tick sent twice counts once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from canopy.pictures.palette import PICKED, Look, look_of
from canopy.store import people
from canopy.store.logbook import Harvest, add_harvest
from canopy.store.newest import CellNow, Latest, cells_in_short, latest
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
    tray : str
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


@dataclass(frozen=True)
class Today:
    """One page of today's list.

    Attributes
    ----------
    trays : list of ToCut
        In walking order.
    racks : list of str
        All racks with something on the list.
    part, parts : int
        Which page of how many, from 1.
    """

    trays: list[ToCut]
    racks: list[str]
    part: int
    parts: int


def todays_list(site: Site, *, rack: str = "", part: int = 1) -> Today:
    """Trays with something to cut, in walking order; those of old photos are left out."""
    since = (date.fromisoformat(site.today) - timedelta(days=site.settings.today_days)).isoformat()
    with site.store.reading() as connection:
        new = [one for one in latest(connection) if one.ready and (one.taken_at or "") >= since]
        new.sort(key=lambda one: walking_order(one.tray))
        racks = list(dict.fromkeys(rack_of(one.tray) for one in new))
        new = [one for one in new if rack in ("", rack_of(one.tray))]
        size = site.settings.today_page
        parts = max(1, -(-len(new) // size))
        part = min(max(part, 1), parts)
        shown = new[(part - 1) * size : part * size]
        cells = cells_in_short(connection, [one.id for one in shown])
        grams = grams_cut(connection, on=site.today)
        cut = {one.tray: cut_cells(connection, one.tray, since=(one.taken_at or "")[:10]) for one in shown}
    trays = [_to_cut(site, one, cells[one.id], cut[one.tray], grams.get(one.tray, 0.0)) for one in shown]
    return Today(trays, racks, part, parts)


def _to_cut(site: Site, one: Latest, cells: list[CellNow], cut: dict[str, int], grams: float) -> ToCut:
    picks = [cell for cell in cells if cell.decision in PICKED]
    done = {cell.cell for cell in picks if cut.get(cell.cell, 0) > 0}
    look = look_of(picks[0].decision if picks else None)
    known = site.farm.rules.trays.get(one.tray)
    return ToCut(one.tray, one.id, one.taken_at or "", known, look, _by_row(picks), done, grams)


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
