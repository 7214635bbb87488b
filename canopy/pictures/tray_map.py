"""A tray seen as a map: one box a cell, coloured by the step its value lies in, the value written into it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from canopy.pictures.palette import BLACK, LOOKS, RAMP, SERIES, WHITE, Step, css_colour, ink_on, look_of, step_of
from canopy.pictures.readings import Shown, shown
from canopy.pictures.svg import (
    LINE_PX,
    MARGIN_PX,
    RIM,
    TEXT_PX,
    TITLE_PX,
    Chart,
    Element,
    add,
    box,
    canvas,
    finished,
    number,
    text_px,
    write,
)
from canopy.records import cell_name
from canopy.words import Words

CELL_WIDTH_PX, CELL_HEIGHT_PX = 46.0, 36.0
HEAD_PX = 26.0
LEGEND_LEFT_PX = MARGIN_PX + 18
_LEAST_WIDTH_PX = 380.0
NO_PLANT, NOT_SHOWN = "–", "/"


@dataclass(frozen=True)
class Sheet:
    """Where the boxes of a map lie.

    Attributes
    ----------
    rows, columns : int
    left, top : float
        Upper left corner of A1's box, pixels.
    """

    rows: int
    columns: int
    left: float = MARGIN_PX + HEAD_PX
    top: float = MARGIN_PX + TITLE_PX + 12 + HEAD_PX

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


def heat_map(
    cells: pd.DataFrame,
    column: str,
    *,
    words: Words,
    name: str,
    title: str = "",
    span: tuple[float, float] | None = None,
    link: Callable[[str], str] | None = None,
) -> Chart:
    """One column of a reading over the tray.

    Parameters
    ----------
    cells : pandas.DataFrame
        Cells of one reading: `row`, `col`, `cell`, `state` and the column.
    column : str
        Any column with numbers or words.
    words : Words
    name : str
        Unique on the page.
    title : str
        By default the column's label and unit.
    span : (low, high), optional
        Values of the table between which the steps lie; by default the least and the greatest. Give one for maps that
        are to be compared.
    link : callable, optional
        Cell name to address: every cell becomes a link.
    """
    about = shown(column, words=words)
    title = title or about.head
    if cells[column].dtype.kind in "fiub":
        return _of_numbers(cells, column, about, words=words, name=name, title=title, span=span, link=link)
    return _of_words(cells, column, about, words=words, name=name, title=title, link=link)


def _of_numbers(
    cells: pd.DataFrame,
    column: str,
    about: Shown,
    *,
    words: Words,
    name: str,
    title: str,
    span: tuple[float, float] | None,
    link: Callable[[str], str] | None,
) -> Chart:
    values = cells[column].to_numpy(dtype=float, na_value=np.nan)
    low, high = span if span is not None else _ends(values)
    summary = _summary(cells, values, about, words)
    steps = [step_of(value, RAMP, low=low, high=high) if not math.isnan(value) else None for value in values]
    texts = [about.text(value) or _missing(state) for value, state in zip(values, cells["state"], strict=True)]
    sheet = _sheet(cells)
    root = _map(cells, texts, steps, sheet=sheet, about=about, name=name, title=title, summary=summary, link=link)
    bounds = [about.text(low + (high - low) * k / len(RAMP)) for k in range(len(RAMP) + 1)]
    steps_legend(root, RAMP, bounds, y=sheet.bottom + 14, unit=about.unit)
    missing_legend(root, y=sheet.bottom + 66, words=words)
    return _chart(root, cells, texts, title=title, summary=summary, head=about.head, words=words)


def _of_words(
    cells: pd.DataFrame,
    column: str,
    about: Shown,
    *,
    words: Words,
    name: str,
    title: str,
    link: Callable[[str], str] | None,
) -> Chart:
    said = [None if pd.isna(value) else str(value) for value in cells[column]]
    kinds = (
        [kind for kind in LOOKS if kind in said] if column == "decision" else sorted({s for s in said if s is not None})
    )
    letters = {kind: LOOKS[kind].letter if column == "decision" else str(n) for n, kind in enumerate(kinds, start=1)}
    colours = {kind: _colour_of(kind, n, column) for n, kind in enumerate(kinds)}
    texts = [letters[s] if s is not None else _missing(state) for s, state in zip(said, cells["state"], strict=True)]
    steps = [colours[s] if s is not None else None for s in said]
    counts = [words.gettext("{n} {kind}", n=said.count(kind), kind=words.say(kind)) for kind in kinds]
    summary = ", ".join(counts) + "." if counts else words.gettext("No values.")
    sheet = _sheet(cells)
    root = _map(
        cells, texts, steps, sheet=sheet, about=about, name=name, title=title, summary=summary, link=link,
        extra_px=LINE_PX * len(kinds) - 36,
    )  # fmt: skip
    for place, kind in enumerate(kinds):
        y = sheet.bottom + 14 + place * LINE_PX
        box(root, x=MARGIN_PX, y=y, width=26, height=17, fill=colours[kind].fill)
        write(root, letters[kind], x=MARGIN_PX + 13, y=y + 14, anchor="middle", bold=True, ink=colours[kind].ink)
        write(root, words.say(kind), x=MARGIN_PX + 34, y=y + 14)
    missing_legend(root, y=sheet.bottom + 32 + len(kinds) * LINE_PX, words=words)
    rows = [words.say(s) if s is not None else text for s, text in zip(said, texts, strict=True)]
    return _chart(root, cells, rows, title=title, summary=summary, head=about.head, words=words)


def _colour_of(kind: str, place: int, column: str) -> Step:
    """A decision's own colour; other words take the colours of lines in turn."""
    if column == "decision":
        look = look_of(kind)
        return Step(WHITE, BLACK) if look.shape == "cross" else Step(look.fill, look.ink)
    fill = SERIES[place % len(SERIES)]
    return Step(fill, ink_on(fill))


def _map(
    cells: pd.DataFrame,
    texts: list[str],
    steps: list[Step | None],
    *,
    sheet: Sheet,
    about: Shown,
    name: str,
    title: str,
    summary: str,
    link: Callable[[str], str] | None,
    extra_px: float = 0.0,
) -> Element:
    """Title, names of rows and columns, and the boxes; room for the legend below."""
    width = max(_LEAST_WIDTH_PX, sheet.right + MARGIN_PX, text_px(title, size=TITLE_PX) + 2 * MARGIN_PX)
    height = sheet.bottom + 84 + max(extra_px, 0)
    root = canvas(width, height, name=name, title=title, summary=summary, linked=link is not None)
    draw_heads(root, sheet)
    within = add(root, "g", text_anchor="middle")
    for (row, col, cell), text, step in zip(
        cells[["row", "col", "cell"]].itertuples(index=False), texts, steps, strict=True
    ):
        said = f"{cell}: {text} {about.unit}".strip()
        draw_cell(within, sheet, row=row, col=col, cell=cell, text=text, step=step, said=said, link=link)
    draw_grid(root, sheet)
    return root


def draw_heads(root: Element, sheet: Sheet) -> None:
    """Letters of rows and numbers of columns."""
    for row in range(1, sheet.rows + 1):
        _, y = sheet.corner(row, 1)
        letter = cell_name(row, 1)[:-1]
        write(root, letter, x=sheet.left - 8, y=y + CELL_HEIGHT_PX / 2 + 5, anchor="end", bold=True)
    for col in range(1, sheet.columns + 1):
        x, _ = sheet.corner(1, col)
        write(root, str(col), x=x + CELL_WIDTH_PX / 2, y=sheet.top - 7, anchor="middle", bold=True)


def draw_grid(root: Element, sheet: Sheet) -> None:
    """Lines between and around the boxes."""
    down = "".join(f"M{number(sheet.left + k * CELL_WIDTH_PX)} {number(sheet.top)}V{number(sheet.bottom)}"
                   for k in range(sheet.columns + 1))  # fmt: skip
    across = "".join(f"M{number(sheet.left)} {number(sheet.top + k * CELL_HEIGHT_PX)}H{number(sheet.right)}"
                     for k in range(sheet.rows + 1))  # fmt: skip
    add(root, "path", d=down + across, stroke=css_colour(RIM), fill="none")


def draw_cell(
    within: Element,
    sheet: Sheet,
    *,
    row: int,
    col: int,
    cell: str,
    text: str,
    step: Step | None,
    said: str,
    link: Callable[[str], str] | None = None,
) -> None:
    """One box with its value; white where there is none."""
    x, y = sheet.corner(row, col)
    parent = within if link is None else add(within, "a", href=link(cell), aria_label=said)
    group = add(parent, "g", data_cell=cell)
    add(group, "title").text = said
    fill, ink = (WHITE, BLACK) if step is None else (step.fill, step.ink)
    add(group, "rect", x=x, y=y, width=CELL_WIDTH_PX, height=CELL_HEIGHT_PX, fill=css_colour(fill))
    written = add(group, "text", x=x + CELL_WIDTH_PX / 2, y=y + CELL_HEIGHT_PX / 2 + 5, fill=css_colour(ink))
    written.text = text
    if text_px(text) > CELL_WIDTH_PX:
        written.set("font-size", number(TEXT_PX * CELL_WIDTH_PX / text_px(text)))


def steps_legend(root: Element, steps: tuple[Step, ...], bounds: list[str], *, y: float, unit: str) -> None:
    """The steps side by side, and below them where one ends and the next begins."""
    width = 42.0
    for place, step in enumerate(steps):
        box(root, x=LEGEND_LEFT_PX + place * width, y=y, width=width, height=16, fill=step.fill)
    for place, bound in enumerate(bounds):
        write(root, bound, x=LEGEND_LEFT_PX + place * width, y=y + 32, anchor="middle", size=13)
    write(root, unit, x=LEGEND_LEFT_PX + 8 + len(steps) * width, y=y + 14, size=13)


def missing_legend(root: Element, *, y: float, words: Words) -> None:
    """What the signs of cells without a value mean."""
    text = words.gettext("{dash} no plant, {mark} not known", dash=NO_PLANT, mark=NOT_SHOWN)
    write(root, text, x=MARGIN_PX, y=y, size=13)


def _sheet(cells: pd.DataFrame) -> Sheet:
    return Sheet(int(cells["row"].max()) if len(cells) else 0, int(cells["col"].max()) if len(cells) else 0)


def _missing(state: Any) -> str:
    return NO_PLANT if isinstance(state, str) and state == "empty" else NOT_SHOWN


def _ends(values: np.ndarray[Any, np.dtype[np.float64]]) -> tuple[float, float]:
    known = values[~np.isnan(values)]
    return (float(known.min()), float(known.max())) if known.size else (0.0, 0.0)


def _summary(cells: pd.DataFrame, values: np.ndarray[Any, np.dtype[np.float64]], about: Shown, words: Words) -> str:
    known = ~np.isnan(values)
    if not known.any():
        return words.gettext("No values.")
    names = cells["cell"].tolist()
    least, most = int(np.nanargmin(values)), int(np.nanargmax(values))
    return words.gettext(
        "{label} of {n} cells: median {median}, least {least} ({least_cell}), most {most} ({most_cell}).",
        label=about.label,
        n=int(known.sum()),
        median=about.with_unit(float(np.median(values[known]))),
        least=about.with_unit(values[least]),
        least_cell=names[least],
        most=about.with_unit(values[most]),
        most_cell=names[most],
    )


def _chart(
    root: Element, cells: pd.DataFrame, texts: list[str], *, title: str, summary: str, head: str, words: Words
) -> Chart:
    rows = tuple(zip(cells["cell"].tolist(), texts, strict=True))
    return Chart(finished(root), title, summary, (words.gettext("Cell"), head), rows)
