"""A tray seen as a map: one box a cell, coloured by the step its value lies in, the value written into it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.pictures.boxes import (
    LEAST_WIDTH_PX,
    LEGEND_PX,
    Box,
    Grid,
    Link,
    boxes_of,
    draw_boxes,
    grid_of,
    missing_legend,
    missing_sign,
    steps_legend,
)
from canopy.pictures.palette import BLACK, LOOKS, RAMP, SERIES, WHITE, Step, ink_on, look_of, step_of
from canopy.pictures.readings import Shown, shown
from canopy.pictures.svg import (
    LINE_PX,
    MARGIN_PX,
    TITLE_PX,
    Chart,
    Element,
    box,
    canvas,
    finished,
    text_px,
    write,
)
from canopy.words import Words

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class _Page:
    """What a map is called, in which language, and where its cells lead."""

    words: Words
    name: str
    title: str
    link: Link | None


def heat_map(
    cells: pd.DataFrame,
    column: str,
    *,
    words: Words,
    name: str,
    title: str = "",
    span: tuple[float, float] | None = None,
    link: Link | None = None,
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
    page = _Page(words, name, title or about.head, link)
    if cells[column].dtype.kind in "fiub":
        return _of_numbers(cells, cells[column].to_numpy(dtype=float, na_value=np.nan), about, page, span)
    said = [None if pd.isna(value) else str(value) for value in cells[column]]
    return _of_words(cells, said, about, page, are_decisions=column == "decision")


def _of_numbers(
    cells: pd.DataFrame, values: FloatArray, about: Shown, page: _Page, span: tuple[float, float] | None
) -> Chart:
    low, high = span if span is not None else _ends(values)
    steps = [step_of(value, RAMP, low=low, high=high) if not math.isnan(value) else None for value in values]
    texts = [about.text(value) or missing_sign(state) for value, state in zip(values, cells["state"], strict=True)]
    grid, summary = grid_of(cells), _summary(cells, values, about, page.words)
    root = _map(boxes_of(cells, texts, steps, unit=about.unit), grid, page, summary, legend_px=LEGEND_PX)
    bounds = [about.text(low + (high - low) * k / len(RAMP)) for k in range(len(RAMP) + 1)]
    steps_legend(root, RAMP, bounds, y=grid.bottom + 14, unit=about.unit)
    missing_legend(root, y=grid.bottom + 66, words=page.words)
    return _chart(root, cells, texts, about, page, summary)


def _of_words(cells: pd.DataFrame, said: list[str | None], about: Shown, page: _Page, *, are_decisions: bool) -> Chart:
    """Decisions with their letters and colours; other words numbered in the order of the alphabet."""
    words, present = page.words, {kind for kind in said if kind is not None}
    kinds = [kind for kind in LOOKS if kind in present] if are_decisions else sorted(present)
    letters = {kind: LOOKS[kind].letter if are_decisions else str(n) for n, kind in enumerate(kinds, start=1)}
    steps = {kind: _decided(kind) if are_decisions else _in_turn(n) for n, kind in enumerate(kinds)}
    states = cells["state"].tolist()
    texts = [missing_sign(state) if s is None else letters[s] for s, state in zip(said, states, strict=True)]
    counts = [words.gettext("{n} {kind}", n=said.count(kind), kind=words.say(kind)) for kind in kinds]
    summary = ", ".join(counts) + "." if counts else words.gettext("No values.")
    grid = grid_of(cells)
    boxes = boxes_of(cells, texts, [None if s is None else steps[s] for s in said], unit="")
    root = _map(boxes, grid, page, summary, legend_px=48 + LINE_PX * len(kinds))
    for place, kind in enumerate(kinds):
        y = grid.bottom + 14 + place * LINE_PX
        box(root, x=MARGIN_PX, y=y, width=26, height=17, fill=steps[kind].fill)
        write(root, letters[kind], x=MARGIN_PX + 13, y=y + 14, anchor="middle", bold=True, ink=steps[kind].ink)
        write(root, words.say(kind), x=MARGIN_PX + 34, y=y + 14)
    missing_legend(root, y=grid.bottom + 32 + len(kinds) * LINE_PX, words=words)
    rows = [text if s is None else words.say(s) for s, text in zip(said, texts, strict=True)]
    return _chart(root, cells, rows, about, page, summary)


def _decided(kind: str) -> Step:
    """Colour of a decision; the cross of `empty` stands on white."""
    look = look_of(kind)
    return Step(WHITE, BLACK) if look.shape == "cross" else Step(look.fill, look.ink)


def _in_turn(place: int) -> Step:
    """Colour of any other word."""
    fill = SERIES[place % len(SERIES)]
    return Step(fill, ink_on(fill))


def _map(boxes: list[Box], grid: Grid, page: _Page, summary: str, *, legend_px: float) -> Element:
    """Title and boxes, with room for the legend below."""
    width = max(LEAST_WIDTH_PX, grid.right + MARGIN_PX, text_px(page.title, size=TITLE_PX) + 2 * MARGIN_PX)
    linked = page.link is not None
    root = canvas(width, grid.bottom + legend_px, name=page.name, title=page.title, summary=summary, linked=linked)
    draw_boxes(root, grid, boxes, link=page.link)
    return root


def _ends(values: FloatArray) -> tuple[float, float]:
    known = values[~np.isnan(values)]
    return (float(known.min()), float(known.max())) if known.size else (0.0, 0.0)


def _summary(cells: pd.DataFrame, values: FloatArray, about: Shown, words: Words) -> str:
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


def _chart(root: Element, cells: pd.DataFrame, texts: list[str], about: Shown, page: _Page, summary: str) -> Chart:
    rows = tuple(zip(cells["cell"].tolist(), texts, strict=True))
    return Chart(finished(root), page.title, summary, (page.words.gettext("Cell"), about.head), rows)
