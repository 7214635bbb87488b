"""Where plants of a tray are larger or smaller than its middle, what rows and columns have in common drawn beside."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.measure.spatial import median_polish
from canopy.pictures.palette import AWAY, BLACK, step_of
from canopy.pictures.readings import compact, shown
from canopy.pictures.svg import MARGIN_PX, TITLE_PX, Chart, Element, add, box, canvas, finished, line, text_px, write
from canopy.pictures.tray_map import (
    CELL_HEIGHT_PX,
    CELL_WIDTH_PX,
    NO_PLANT,
    NOT_SHOWN,
    Sheet,
    draw_cell,
    draw_grid,
    draw_heads,
    missing_legend,
    steps_legend,
)
from canopy.records import cell_name
from canopy.words import Words

FloatArray = NDArray[np.float64]

_SPAN = 0.7
"""Cells that differ by more than this share from the middle have the outermost colours."""
_STRIP_PX = 60.0
_NUMBER_PX = 40.0
_BAR_PX = 24.0


def uniformity_map(
    cells: pd.DataFrame, *, pattern: str, words: Words, name: str, column: str = "area_mm2", title: str = ""
) -> Chart:
    """Each cell's departure from the tray's median in percent; bars beside rows and below columns show their effects.

    Parameters
    ----------
    cells : pandas.DataFrame
        Cells of one reading: `row`, `col`, `cell`, `state` and the column.
    pattern : str
        The tray's `pattern`; empty where none was told.
    words : Words
    name : str
        Unique on the page.
    column : str
        A column of numbers above 0.
    title : str
    """
    about = shown(column, words=words)
    title = title or words.gettext("{label}: difference from the tray's median (%)", label=about.label)
    grid = _grid(cells, column)
    middle = float(np.nanmedian(grid)) if (~np.isnan(grid)).any() else math.nan
    away = grid / middle - 1 if middle > 0 else np.full(grid.shape, np.nan)
    _, by_row, by_column, _ = median_polish(away)
    sheet = Sheet(*grid.shape)
    said = words.say(pattern) if pattern else ""
    summary = _summary(about.with_unit(middle), said, words)
    width = max(sheet.right + _STRIP_PX + _NUMBER_PX + MARGIN_PX, text_px(title, size=TITLE_PX) + 2 * MARGIN_PX, 380.0)
    root = canvas(width, sheet.bottom + _STRIP_PX + 106, name=name, title=title, summary=summary)
    draw_heads(root, sheet)
    rows = []
    within = add(root, "g", text_anchor="middle")
    for row, col, cell, state in cells[["row", "col", "cell", "state"]].itertuples(index=False):
        value = float(away[row - 1, col - 1])
        missing = NO_PLANT if isinstance(state, str) and state == "empty" else NOT_SHOWN
        text = missing if math.isnan(value) else percent_away(value)
        step = None if math.isnan(value) else step_of(value, AWAY, low=-_SPAN, high=_SPAN)
        draw_cell(within, sheet, row=row, col=col, cell=cell, text=text, step=step, said=f"{cell}: {text} %")
        rows.append((str(cell), text))
    draw_grid(root, sheet)
    rows += _bars(root, sheet, by_row, by_column, words)
    bounds = [percent_away(-_SPAN + 2 * _SPAN * k / len(AWAY)) for k in range(len(AWAY) + 1)]
    steps_legend(root, AWAY, ["", *bounds[1:-1], ""], y=sheet.bottom + _STRIP_PX + 24, unit="%")
    missing_legend(root, y=sheet.bottom + _STRIP_PX + 76, words=words)
    if said:
        write(root, said, x=MARGIN_PX, y=sheet.bottom + _STRIP_PX + 96, bold=True)
    return Chart(finished(root), title, summary, (words.gettext("Cell"), "%"), tuple(rows))


def percent_away(share: float) -> str:
    """A departure in whole percent with its sign: `+12`, `−7`, `0`."""
    text = compact(float(round(100 * share)))
    return f"+{text}" if share > 0 and text != "0" else text


def _grid(cells: pd.DataFrame, column: str) -> FloatArray:
    grid = np.full((int(cells["row"].max()), int(cells["col"].max())), np.nan)
    values = cells[column].to_numpy(dtype=float, na_value=np.nan)
    grid[cells["row"].to_numpy() - 1, cells["col"].to_numpy() - 1] = values
    return grid


def _summary(median: str, pattern: str, words: Words) -> str:
    text = words.gettext("Median {median}.", median=median)
    head = words.gettext("Pattern")
    return f"{text} {head}: {pattern}." if pattern else text


def _bars(
    root: Element, sheet: Sheet, by_row: FloatArray, by_column: FloatArray, words: Words
) -> list[tuple[str, str]]:
    """Bars of what all cells of a row or column have in common, and their lines of the table.

    The effects are those of a median polish (Tukey 1977): one odd cell does not move them.
    """
    rows = []
    x0, y0 = sheet.right + _STRIP_PX / 2, sheet.bottom + _STRIP_PX / 2
    line(root, [(x0, sheet.top), (x0, sheet.bottom)], ink=BLACK, width=1)
    line(root, [(sheet.left, y0), (sheet.right, y0)], ink=BLACK, width=1)
    for number, effect in enumerate(by_row.tolist(), start=1):
        if not math.isnan(effect):
            _, y = sheet.corner(number, 1)
            length = _length(effect)
            fill = step_of(effect, AWAY, low=-_SPAN, high=_SPAN).fill
            box(root, x=min(x0, x0 + length), y=y + 5, width=abs(length), height=CELL_HEIGHT_PX - 10, fill=fill)
            end = sheet.right + _STRIP_PX + _NUMBER_PX
            write(root, percent_away(effect), x=end, y=y + CELL_HEIGHT_PX / 2 + 5, anchor="end")
            rows.append((words.gettext("row {name}", name=cell_name(number, 1)[:-1]), percent_away(effect)))
    for number, effect in enumerate(by_column.tolist(), start=1):
        if not math.isnan(effect):
            x, _ = sheet.corner(1, number)
            length = _length(effect)
            fill = step_of(effect, AWAY, low=-_SPAN, high=_SPAN).fill
            box(root, x=x + 5, y=min(y0, y0 - length), width=CELL_WIDTH_PX - 10, height=abs(length), fill=fill)
            write(root, percent_away(effect), x=x + CELL_WIDTH_PX / 2, y=sheet.bottom + _STRIP_PX + 8, anchor="middle")
            rows.append((words.gettext("column {name}", name=str(number)), percent_away(effect)))
    return rows


def _length(effect: float) -> float:
    return float(np.clip(effect / _SPAN, -1, 1)) * _BAR_PX
