"""Boxes of a tray's cells with their values, names of rows and columns around them, and what the colours mean."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from canopy.pictures.palette import BLACK, WHITE, Step, css_colour
from canopy.pictures.svg import MARGIN_PX, RIM, TEXT_PX, TITLE_PX, Element, add, box, number, text_px, write
from canopy.records import cell_name
from canopy.words import Words

CELL_WIDTH_PX, CELL_HEIGHT_PX = 46.0, 36.0
LEAST_WIDTH_PX = 380.0
"""Room for the legend, however few columns there are."""
LEGEND_PX = 84.0
"""Height of the legend of steps with that of missing values."""
NO_PLANT, NOT_SHOWN = "–", "/"

Link = Callable[[str], str]
"""Cell name to address."""

_HEAD_PX = 26.0
_STEP_PX = 42.0
_LEGEND_LEFT_PX = MARGIN_PX + 18


@dataclass(frozen=True)
class Grid:
    """Where the boxes of a map lie.

    Attributes
    ----------
    rows, columns : int
    left, top : float
        Upper left corner of A1's box, pixels.
    """

    rows: int
    columns: int
    left: float = MARGIN_PX + _HEAD_PX
    top: float = MARGIN_PX + TITLE_PX + 12 + _HEAD_PX

    def corner(self, row: int, col: int) -> tuple[float, float]:
        """Upper left corner of a cell's box; row and column from 1."""
        return (self.left + (col - 1) * CELL_WIDTH_PX, self.top + (row - 1) * CELL_HEIGHT_PX)

    @property
    def right(self) -> float:
        """Right edge of the boxes."""
        return self.left + self.columns * CELL_WIDTH_PX

    @property
    def bottom(self) -> float:
        """Lower edge of the boxes."""
        return self.top + self.rows * CELL_HEIGHT_PX


@dataclass(frozen=True)
class Box:
    """One cell as it is drawn.

    Attributes
    ----------
    row, col : int
        From 1.
    cell, text : str
        Its name, and what is written into it.
    step : Step or None
        White where there is none.
    said : str
        Name, value and unit, shown when somebody points at it.
    """

    row: int
    col: int
    cell: str
    text: str
    step: Step | None
    said: str


def grid_of(cells: pd.DataFrame) -> Grid:
    """The grid of a table of cells; no boxes for no rows."""
    return Grid(int(cells["row"].max()), int(cells["col"].max())) if len(cells) else Grid(0, 0)


def boxes_of(cells: pd.DataFrame, texts: Sequence[str], steps: Sequence[Step | None], *, unit: str) -> list[Box]:
    """Boxes of a table of cells, with their texts and steps in the order of its rows."""
    places = zip(cells["row"].tolist(), cells["col"].tolist(), cells["cell"].tolist(), texts, steps, strict=True)
    return [Box(*place, said=f"{place[2]}: {place[3]} {unit}".strip()) for place in places]


def missing_sign(state: object) -> str:
    """What stands in a cell without a value."""
    return NO_PLANT if isinstance(state, str) and state == "empty" else NOT_SHOWN


def draw_boxes(root: Element, grid: Grid, boxes: Sequence[Box], *, link: Link | None = None) -> None:
    """Letters of rows, numbers of columns, the boxes and the lines between them."""
    for row in range(1, grid.rows + 1):
        _, y = grid.corner(row, 1)
        write(root, cell_name(row, 1)[:-1], x=grid.left - 8, y=y + CELL_HEIGHT_PX / 2 + 5, anchor="end", bold=True)
    for col in range(1, grid.columns + 1):
        x, _ = grid.corner(1, col)
        write(root, str(col), x=x + CELL_WIDTH_PX / 2, y=grid.top - 7, anchor="middle", bold=True)
    within = add(root, "g", text_anchor="middle")
    for one in boxes:
        _draw_box(within, grid, one, link)
    add(root, "path", d=_lines(grid), stroke=css_colour(RIM), fill="none")


def _draw_box(within: Element, grid: Grid, one: Box, link: Link | None) -> None:
    x, y = grid.corner(one.row, one.col)
    parent = within if link is None else add(within, "a", href=link(one.cell), aria_label=one.said)
    group = add(parent, "g", data_cell=one.cell)
    add(group, "title").text = one.said
    fill, ink = (WHITE, BLACK) if one.step is None else (one.step.fill, one.step.ink)
    add(group, "rect", x=x, y=y, width=CELL_WIDTH_PX, height=CELL_HEIGHT_PX, fill=css_colour(fill))
    written = add(group, "text", x=x + CELL_WIDTH_PX / 2, y=y + CELL_HEIGHT_PX / 2 + 5, fill=css_colour(ink))
    written.text = one.text
    if text_px(one.text) > CELL_WIDTH_PX:
        written.set("font-size", number(TEXT_PX * CELL_WIDTH_PX / text_px(one.text)))


def _lines(grid: Grid) -> str:
    """Path of the lines between and around the boxes."""
    left, right, top, bottom = (number(end) for end in (grid.left, grid.right, grid.top, grid.bottom))
    across = [number(grid.left + k * CELL_WIDTH_PX) for k in range(grid.columns + 1)]
    down = [number(grid.top + k * CELL_HEIGHT_PX) for k in range(grid.rows + 1)]
    return "".join(f"M{x} {top}V{bottom}" for x in across) + "".join(f"M{left} {y}H{right}" for y in down)


def steps_legend(root: Element, steps: tuple[Step, ...], bounds: list[str], *, y: float, unit: str) -> None:
    """The steps side by side, and below them where one ends and the next begins."""
    for place, step in enumerate(steps):
        box(root, x=_LEGEND_LEFT_PX + place * _STEP_PX, y=y, width=_STEP_PX, height=16, fill=step.fill)
    for place, bound in enumerate(bounds):
        write(root, bound, x=_LEGEND_LEFT_PX + place * _STEP_PX, y=y + 32, anchor="middle", size=13)
    write(root, unit, x=_LEGEND_LEFT_PX + 8 + len(steps) * _STEP_PX, y=y + 14, size=13)


def missing_legend(root: Element, *, y: float, words: Words) -> None:
    """What the signs of cells without a value mean."""
    text = words.gettext("{dash} no plant, {mark} not known", dash=NO_PLANT, mark=NOT_SHOWN)
    write(root, text, x=MARGIN_PX, y=y, size=13)
