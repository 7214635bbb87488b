"""A reading as pages show it: cells over their picture, what to do with each, the sum behind it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from canopy.errors import PhotoError
from canopy.outputs.marks import CORNERS
from canopy.outputs.overlays import cell_corners_mm
from canopy.outputs.picks import clearances_mm
from canopy.outputs.words import cell_facts, headline, tray_facts
from canopy.pictures.palette import PICKED, Look, look_of
from canopy.readiness import explain_cell, score_line
from canopy.readiness.desirability import desirability
from canopy.records import CropRecipe, Layout
from canopy.store.newest import Kept, newest_reading_of_photo, reading_of
from canopy.store.notebook import Word, cut_cells, words_about
from canopy.web.farm import KnownTray
from canopy.web.measuring import Shown, picture_of, what_is_told
from canopy.web.pages import plain
from canopy.web.site import Site

# Rounding of sums; a recipe that is another one differs by far more.
_SAME = 1e-9


@dataclass(frozen=True)
class CellView:
    """A cell on a page.

    Attributes
    ----------
    cell : str
    row : str
        Its row's letter.
    look : Look
    readiness : float or None
    reason : str
    facts : str
    cut : bool
        Already cut since the photo.
    x, y, width, height : float
        Of the cell on the tray, mm; 0 where there is no picture.
    """

    cell: str
    row: str
    look: Look
    readiness: float | None
    reason: str
    facts: str
    cut: bool
    x: float = 0.0
    y: float = 0.0
    width: float = 0.0
    height: float = 0.0

    @property
    def picked(self) -> bool:
        """To be cut or moved on."""
        return self.look.decision in PICKED

    def points(self, x: float, y: float, radius: float) -> str:
        """Corners of the sign of its decision round a point, for an SVG polygon; a circle has none."""
        return sign_points(self.look.shape, x, y, radius)


@dataclass(frozen=True)
class ReadingView:
    """A reading on a page.

    Attributes
    ----------
    id : int
    tray, taken_at : str
    headline : str
    cells : list of CellView
        In reading order.
    facts : list of (name, value)
    remarks : list of str
    shown : Shown or None
        None: there is no picture, and `no_picture` says why.
    no_picture : str
    known : KnownTray or None
    words : list of Word
        Corrections of this photo.
    photo_sha256 : str
    newer : int or None
        Number of a newer reading of the same photo, when it was set right since.
    """

    id: int
    tray: str
    taken_at: str | None
    headline: str
    cells: list[CellView]
    facts: list[tuple[str, str]]
    remarks: list[str]
    shown: Shown | None
    no_picture: str
    known: KnownTray | None
    words: list[Word]
    photo_sha256: str
    newer: int | None

    @property
    def picks(self) -> list[CellView]:
        """Cells to cut or move on, in walking order."""
        return [cell for cell in self.cells if cell.picked]

    @property
    def unsure(self) -> list[CellView]:
        """Cells that a person must look at."""
        return [cell for cell in self.cells if cell.look.decision == "inspect"]

    @property
    def scored(self) -> bool:
        """Whether there is a recipe to decide by."""
        return any(cell.look.decision for cell in self.cells)


def view_of(site: Site, kept: Kept) -> ReadingView:
    """A reading out of the store, ready to be shown."""
    row = plain(kept.trays.iloc[0].to_dict())
    taken_at = row["taken_at"]
    with site.store.reading() as connection:
        cut = cut_cells(connection, kept.tray, since=(taken_at or "")[:10])
        words = [w for w in words_about(connection, kept.tray) if w.photo_sha256 in ("", kept.photo_sha256)]
        newest = newest_reading_of_photo(connection, kept.photo_sha256, kept.tray)
    shown, no_picture = _picture(site, kept)
    known = site.farm.rules.tray_of(kept.tray, path=kept.path)
    remarks = [text for text, cell in zip(kept.remarks["text"], kept.remarks["cell"], strict=True) if not cell]
    return ReadingView(
        kept.id, kept.tray, taken_at, headline(kept.cells), _cells(kept, cut, shown),
        tray_facts(kept.trays.iloc[0]), remarks, shown, no_picture, known, words,
        kept.photo_sha256, newest if newest != kept.id else None,
    )  # fmt: skip


def kept_reading(site: Site, number: int) -> Kept | None:
    """A reading out of the store; None where there is none."""
    with site.store.reading() as connection:
        return reading_of(connection, number)


def sum_of_cell(site: Site, kept: Kept, cell: str) -> list[str]:
    """The way to a cell's decision, line by line; empty where the tray has no such cell."""
    row = kept.cells[kept.cells["cell"] == cell]
    if row.empty:
        return []
    fields = row.iloc[0]
    tray = site.farm.rules.tray_of(kept.tray, path=kept.path)
    told = what_is_told(site, tray, kept.photo_sha256) if tray is not None else None
    if told is None or told.recipe is None:
        facts = cell_facts(fields.to_dict(), clearance_mm=None) or "nothing to measure"
        return [f"Cell {cell}: {plain(fields.to_dict())['state'] or 'not shown'}. {facts}.", "Not scored: no crop."]
    of_cell = kept.criteria[kept.criteria["cell"] == cell]
    if not _still_judged_so(of_cell, told.recipe):
        return ["The recipe has changed since this photo was measured; the sum as it was:", score_line(of_cell)]
    taken_at = plain(fields.to_dict())["taken_at"]
    return explain_cell(
        fields,
        of_cell,
        told.recipe,
        treatments=told.record.treatments,
        taken_at=datetime.fromisoformat(taken_at) if taken_at else None,
        settings=site.farm.rules.configuration.settings.readiness,
    )


def _still_judged_so(of_cell: pd.DataFrame, recipe: CropRecipe) -> bool:
    """Whether the recipe gives the desirabilities that were kept; weights may have been shared out and say nothing."""
    if of_cell.empty:
        return True
    kept = {row["criterion"]: row for row in of_cell.to_dict("records")}
    if list(kept) != [named.name for named in recipe.criteria]:
        return False
    weights = [0.0 if kept[named.name]["withheld"] else named.criterion.weight for named in recipe.criteria]
    for named, weight in zip(recipe.criteria, weights, strict=True):
        row = kept[named.name]
        now = float(desirability(float(row["value"]), named.criterion))
        same_d = np.isclose(now, float(row["desirability"]), rtol=0, atol=_SAME, equal_nan=True)
        if not same_d or abs(weight / sum(weights) - float(row["weight"])) > _SAME:
            return False
    return True


def sign_points(shape: str, x: float, y: float, radius: float) -> str:
    """Corners of a decision's shape round a point."""
    corners = CORNERS.get(shape, [])
    return " ".join(f"{x + radius * a:.1f},{y + radius * b:.1f}" for a, b in corners)


def _picture(site: Site, kept: Kept) -> tuple[Shown | None, str]:
    try:
        return picture_of(site, kept)[1], ""
    except PhotoError as error:
        return None, str(error)


def _cells(kept: Kept, cut: dict[str, int], shown: Shown | None) -> list[CellView]:
    rooms = clearances_mm(kept.cells)
    boxes = _boxes(shown.layout, len(kept.cells)) if shown is not None else [(0.0, 0.0, 0.0, 0.0)] * len(kept.cells)
    views = []
    for row, room, box in zip(kept.cells.to_dict("records"), rooms, boxes, strict=True):
        fields: dict[str, Any] = plain(row)
        name = str(fields["cell"])
        look = look_of(fields["decision"])
        facts = cell_facts(row, clearance_mm=float(room) if look.decision in PICKED else None)
        views.append(
            CellView(name, name.rstrip("0123456789"), look, fields["readiness"], fields["reason"] or "", facts,
                     cut.get(name, 0) > 0, *box)
        )  # fmt: skip
    return views


def _boxes(layout: Layout, cells: int) -> list[tuple[float, float, float, float]]:
    """x, y, width, height of every cell, mm; nothing where the layout has another number of cells."""
    corners = cell_corners_mm(layout)
    if len(corners) != cells:
        return [(0.0, 0.0, 0.0, 0.0)] * cells
    return [(float(a[0]), float(a[1]), float(c[0] - a[0]), float(c[1] - a[1])) for a, _, c, _ in corners]
