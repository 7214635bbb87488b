"""Readings of one tray lined up by cell over days: which plant is which, and where its curve starts anew."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.errors import UsageError
from canopy.growth.checks import Check, Complaint
from canopy.growth.events import NEW_PLANT
from canopy.growth.turned import Turn, compare
from canopy.records import Layout, TrayRecord, cell_name
from canopy.records.text import TEXT_TYPE, Dtypes
from canopy.settings.growth import HistorySettings

FloatArray = NDArray[np.float64]

NEEDED = ("tray", "taken_at", "row", "col", "state", "das", "area_mm2", "area_low_mm2", "area_high_mm2")
TURN_DTYPES: Dtypes = {
    "taken_at": TEXT_TYPE, "turned": "boolean", "probability": "float64", "same": "float64", "opposite": "float64",
    "said": TEXT_TYPE,
}  # fmt: skip
_STARTS_AT_ZERO = ("transplanted", "thinned")
"""After these the cell's next plant is taken to be of the tray's own sowing."""


@dataclass(frozen=True)
class History:
    """Readings of one tray, lined up.

    Attributes
    ----------
    table : pandas.DataFrame
        The readings by time and cell, `row`, `col`, `cell` corrected for turned photos, `das` with the time of day as a
        fraction, and besides: `plant` (`B4`, its successor `B4/2`), `curve` (the plant, or `B4 cut 1` after a first
        cut), `start_das` (where the curve's clock starts), `regrown` (True after a cut).
    turns : pandas.DataFrame
        One row per photo, `TURN_DTYPES`: whether it was turned back, how sure, and why, in words. `turned` is missing
        where it cannot be told: such a photo is left as it came.
    complaints : tuple of Complaint
        Readings that could not be used.
    remarks : tuple of str
        All that was done or doubted, one sentence each.
    """

    table: pd.DataFrame
    turns: pd.DataFrame
    complaints: tuple[Complaint, ...]
    remarks: tuple[str, ...]

    def curves(self) -> pd.DataFrame:
        """The table with `plant` naming the curve, as `growth_curves` takes it."""
        return self.table.assign(plant=self.table["curve"])


def line_up(
    readings: pd.DataFrame, *, tray: TrayRecord, settings: HistorySettings, events: pd.DataFrame | None = None
) -> History:
    """Line up the readings of one tray.

    Parameters
    ----------
    readings : pandas.DataFrame
        Rows of `cells.csv` of this tray over all its photos; `located_by` besides, if known: photos located by markers
        cannot be turned. Times are those of the clock on the wall.
    tray : TrayRecord
        With its day of sowing.
    settings : HistorySettings
    events : pandas.DataFrame, optional
        As `check_events` gives them; rows of other trays are passed over.

    Returns
    -------
    History

    Raises
    ------
    UsageError
        When the tray has no day of sowing, or a column is missing.
    """
    if tray.sown_on is None:
        raise UsageError(f"tray {tray.tray}: growth needs `sown_on`; add it to the tray list")
    sown = pd.Timestamp(tray.sown_on)
    table, complaints = _checked(readings, tray, sown)
    own = events[events["tray"] == tray.tray] if events is not None else pd.DataFrame(columns=["cell", "date", "event"])
    notes = own.assign(das=(own["date"] - sown).dt.days) if len(own) else own.assign(das=0.0)
    table, turns, said = _turned_back(table, tray.layout, notes, settings=settings)
    table, broken = _plants(table, notes, settings=settings)
    table = table.sort_values(["das", "row", "col"], kind="stable", ignore_index=True)
    return History(table, turns, complaints, (*said, *broken))


def _checked(
    readings: pd.DataFrame, tray: TrayRecord, sown: pd.Timestamp
) -> tuple[pd.DataFrame, tuple[Complaint, ...]]:
    """Readings with `das` as a fraction; impossible ones are complained of."""
    check = Check(readings, name=f"readings of {tray.tray}", columns=NEEDED)
    check.known("tray", [tray.tray], what="tray here")
    for column, most in (("row", tray.layout.rows), ("col", tray.layout.columns)):
        check.number(column, least=1, most=most)
    moments = pd.to_datetime(
        check.table["taken_at"].astype(TEXT_TYPE).str.slice(0, 19), errors="coerce", format="ISO8601"
    )
    exact = (moments - sown) / pd.Timedelta(days=1)
    # A photo that does not say its time is taken at noon of its day.
    whole = pd.to_numeric(check.table["das"], errors="coerce").astype("float64") + 0.5
    das = exact.astype("float64").where(moments.notna(), whole)
    check.refuse(das.isna(), "taken_at", "`{value}` is not a time; write it like 2026-05-14T08:30:00")
    check.refuse(das < 0, "taken_at", f"{{value}} is before the tray was sown ({tray.sown_on}); correct one of them")
    area = pd.to_numeric(check.table["area_mm2"], errors="coerce").astype("float64")
    check.refuse(area < 0, "area_mm2", "{value} is negative; leave it empty where nothing was measured")
    check.table["das"] = das
    check.once(("taken_at", "row", "col"))
    good, complaints = check.result()
    good = good.astype({"row": "int64", "col": "int64"})
    return good.assign(area_mm2=pd.to_numeric(good["area_mm2"], errors="coerce").astype("float64")), complaints


def _grid(photo: pd.DataFrame, layout: Layout) -> FloatArray:
    """(rows, columns) areas; 0 empty, NaN not seen."""
    area = np.full((layout.rows, layout.columns), np.nan)
    empty = (photo["state"].astype(TEXT_TYPE) == "empty").fillna(False).to_numpy(dtype=bool)
    area[photo["row"] - 1, photo["col"] - 1] = np.where(empty, 0.0, photo["area_mm2"].to_numpy(dtype=float))
    return area


def _turned_back(
    table: pd.DataFrame, layout: Layout, notes: pd.DataFrame, *, settings: HistorySettings
) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Each photo against the last one that was sure, cells with a note between them left out."""
    parts, rows, said = [], [], []
    known: FloatArray | None = None
    last = np.full((layout.rows, layout.columns), np.nan)
    known_das = -np.inf
    for _, photo in table.groupby("das", sort=True):
        das, when = float(photo["das"].iloc[0]), str(photo["taken_at"].iloc[0])
        area = _grid(photo, layout)
        marked = "located_by" in photo and "markers" in str(photo["located_by"].iloc[0])
        if marked or known is None:
            turn = Turn(False, 0.0 if marked else np.nan, np.nan, np.nan)
            text = "located by its markers" if marked else "first photo: sets the names of the cells"
        else:
            last = _without(known, notes, layout, since=known_das, until=das)
            turn = compare(last, area, settings=settings)
            text = _say(turn)
            if turn.turned is not False:
                said.append(f"photo of {when}: {text}")
        if turn.turned:
            row, col = layout.rows + 1 - photo["row"], layout.columns + 1 - photo["col"]
            photo, area = photo.assign(row=row, col=col), area[::-1, ::-1]
        # A doubtful photo is no standard for the next; one after all cells were cut or sown anew is a new start.
        if turn.turned is not None or np.isnan(last).all():
            known, known_das = area, das
        parts.append(photo)
        rows.append((when, turn.turned, turn.probability, turn.same, turn.opposite, text))
    turns = pd.DataFrame(rows, columns=list(TURN_DTYPES)).astype(TURN_DTYPES)
    whole = pd.concat(parts, ignore_index=True) if parts else table
    names = [cell_name(r, c) for r, c in zip(whole["row"], whole["col"], strict=True)]
    return whole.assign(cell=pd.Series(names, index=whole.index, dtype=TEXT_TYPE)), turns, said


def _without(known: FloatArray, notes: pd.DataFrame, layout: Layout, *, since: float, until: float) -> FloatArray:
    """Areas of the earlier photo without cells that were cut, thinned and so on since."""
    names = np.array(layout.names()).reshape(known.shape)
    changed = notes[(notes["das"] >= np.floor(since)) & (notes["das"] <= until)]["cell"]
    return np.where(np.isin(names, changed.to_numpy(dtype=str)), np.nan, known)


def _say(turn: Turn) -> str:
    if np.isnan(turn.probability):
        return "too few plants to tell whether the tray was turned; left as it came"
    figures = f"patterns agree {turn.opposite:.2f} turned and {turn.same:.2f} as it came"
    if turn.turned:
        return f"tray was put back turned by 180° ({figures}; sure to {100 * turn.probability:.1f} %); cells renamed"
    if turn.turned is None:
        return f"the tray may have been turned ({figures}; {100 * turn.probability:.0f} %); left as it came, look at it"
    return f"not turned ({figures})"


@dataclass(frozen=True)
class _Track:
    """Columns of the readings by cell and time; `plant`, `cut` and `start` are filled in cell by cell."""

    area: FloatArray
    das: FloatArray
    empty: NDArray[np.bool_]
    plant: NDArray[np.int64]
    cut: NDArray[np.int64]
    start: FloatArray

    @classmethod
    def of(cls, table: pd.DataFrame) -> _Track:
        """One plant per cell, never cut, as long as nothing else is known."""
        empty = (table["state"].astype(TEXT_TYPE) == "empty").fillna(False).to_numpy(dtype=bool)
        area, das = table["area_mm2"].to_numpy(dtype=float), table["das"].to_numpy(dtype=float)
        none = np.zeros(len(table), dtype=np.int64)
        return cls(area, das, empty, none + 1, none.copy(), np.zeros(len(table)))


def _plants(table: pd.DataFrame, notes: pd.DataFrame, *, settings: HistorySettings) -> tuple[pd.DataFrame, list[str]]:
    """Number plants and curves of each cell."""
    table = table.sort_values(["row", "col", "das"], kind="stable", ignore_index=True)
    at = _Track.of(table)
    said: list[str] = []
    by_cell = {str(cell): part for cell, part in notes.groupby("cell")} if len(notes) else {}
    for cell, rows in table.groupby("cell").indices.items():
        where = np.sort(rows)
        for day, event in _noted(by_cell.get(str(cell)), at.area[where], at.das[where], settings=settings):
            after = where[at.das[where] > day]
            new = event in NEW_PLANT
            at.plant[after] += new
            at.cut[after] = 0 if new else at.cut[after] + 1
            at.start[after] = 0.0 if event in _STARTS_AT_ZERO else day
        said += _losses(str(cell), where, at, settings=settings)
    names = table["cell"].astype(str).to_numpy()
    full = np.array([c if p == 1 else f"{c}/{p}" for c, p in zip(names, at.plant, strict=True)], dtype=object)
    curve = np.array([f if not k else f"{f} cut {k}" for f, k in zip(full, at.cut, strict=True)], dtype=object)
    text = {"plant": pd.Series(full, dtype=TEXT_TYPE), "curve": pd.Series(curve, dtype=TEXT_TYPE)}
    return table.assign(plant=text["plant"], curve=text["curve"], start_das=at.start, regrown=at.cut > 0), said


def _noted(
    notes: pd.DataFrame | None, area: FloatArray, das: FloatArray, *, settings: HistorySettings
) -> list[tuple[float, str]]:
    """(day, event) of a cell, the day placed before or after a photo of the same day by what that photo shows."""
    found = []
    for day, event in [] if notes is None else list(zip(notes["das"], notes["event"], strict=True)):
        moment = float(day)
        today, before = np.flatnonzero(np.floor(das) == day), np.flatnonzero(np.floor(das) < day)
        if len(today) and len(before):
            whole = np.nan_to_num(area[today]) >= settings.loss_share * np.nan_to_num(area[before[-1]])
            # Photos that still show the plant came before the note, the others after it.
            moment = float(das[today[whole]].max()) if whole.any() else moment - 1e-6
        found.append((moment, str(event)))
    return found


def _losses(cell: str, where: NDArray[np.intp], at: _Track, *, settings: HistorySettings) -> list[str]:
    """Breaks that nobody noted: an empty cell that is planted again, a plant that lost much of its area for good."""
    said = []
    best, gone = 0.0, False
    for k, i in enumerate(where):
        if k and (at.plant[i], at.cut[i]) != (at.plant[where[k - 1]], at.cut[where[k - 1]]):
            best, gone = 0.0, False
        if at.empty[i]:
            gone = gone or best > 0
            continue
        if not at.area[i] > 0:
            continue
        later = where[k + 1 :]
        later = later[at.area[later] > 0]
        small, day = settings.loss_share * best, f"day {at.das[i]:.0f} without a note"
        if gone and at.area[i] < small:
            at.plant[where[k:]] += 1
            at.cut[where[k:]] -= at.cut[i]
            at.start[where[k:]], best = at.das[where[k - 1]], 0.0
            said.append(f"{cell}: empty and planted again by {day}; taken for a new plant")
        elif at.area[i] < small and len(later) and at.area[later[0]] < small * _REGROWN:
            at.cut[where[k:]] += 1
            at.start[where[k:]], share = at.das[where[k - 1]], 1 - at.area[i] / best
            best = 0.0
            said.append(f"{cell}: lost {100 * share:.0f} % of its area by {day}; curve anew")
        best, gone = max(best, at.area[i]), False
    return said


_REGROWN = 1.5
"""The reading after a loss confirms it when it is below this many times the bound; a bad reading is back at once."""
