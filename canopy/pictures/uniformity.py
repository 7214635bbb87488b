"""Where plants of a tray are larger or smaller than its middle, what rows and columns have in common drawn beside."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.measure.spatial import median_polish
from canopy.pictures.boxes import (
    CELL_HEIGHT_PX,
    CELL_WIDTH_PX,
    LEAST_WIDTH_PX,
    Grid,
    boxes_of,
    draw_boxes,
    missing_legend,
    missing_sign,
    steps_legend,
)
from canopy.pictures.palette import AWAY, BLACK, Step, step_of
from canopy.pictures.readings import compact, shown
from canopy.pictures.svg import MARGIN_PX, TITLE_PX, Chart, Element, box, canvas, finished, line, text_px, write
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
    places = (cells["row"].to_numpy() - 1, cells["col"].to_numpy() - 1)
    areas = np.full((places[0].max() + 1, places[1].max() + 1), np.nan)
    areas[places] = cells[column].to_numpy(dtype=float, na_value=np.nan)
    middle = float(np.nanmedian(areas)) if (~np.isnan(areas)).any() else math.nan
    away = areas / middle - 1 if middle > 0 else np.full(areas.shape, np.nan)
    grid, said = Grid(*areas.shape), words.say(pattern)
    summary = _summary(about.with_unit(middle), said, words)
    width = max(
        LEAST_WIDTH_PX,
        grid.right + _STRIP_PX + _NUMBER_PX + MARGIN_PX,
        text_px(title, size=TITLE_PX) + 2 * MARGIN_PX,
    )
    root = canvas(width, grid.bottom + _STRIP_PX + 106, name=name, title=title, summary=summary)
    values = away[places].tolist()
    texts = [percent_away(v) or missing_sign(state) for v, state in zip(values, cells["state"], strict=True)]
    draw_boxes(root, grid, boxes_of(cells, texts, [_step(value) for value in values], unit="%"))
    rows = [*zip(cells["cell"].tolist(), texts, strict=True), *_bars(root, grid, away, words)]
    bounds = [percent_away(-_SPAN + 2 * _SPAN * k / len(AWAY)) for k in range(len(AWAY) + 1)]
    steps_legend(root, AWAY, ["", *bounds[1:-1], ""], y=grid.bottom + _STRIP_PX + 24, unit="%")
    missing_legend(root, y=grid.bottom + _STRIP_PX + 76, words=words)
    write(root, said, x=MARGIN_PX, y=grid.bottom + _STRIP_PX + 96, bold=True)
    return Chart(finished(root), title, summary, (words.gettext("Cell"), "%"), tuple(rows))


def percent_away(share: float) -> str:
    """A departure in whole percent with its sign: `+12`, `−7`, `0`; empty for a missing one."""
    text = "" if math.isnan(share) else compact(float(round(100 * share)))
    return f"+{text}" if share > 0 and text != "0" else text


def _step(share: float) -> Step | None:
    return None if math.isnan(share) else step_of(share, AWAY, low=-_SPAN, high=_SPAN)


def _summary(median: str, pattern: str, words: Words) -> str:
    text = words.gettext("Median {median}.", median=median)
    head = words.gettext("Pattern")
    return f"{text} {head}: {pattern}." if pattern else text


def _bars(root: Element, grid: Grid, away: FloatArray, words: Words) -> list[tuple[str, str]]:
    """Bars of what all cells of a row or column have in common, and their lines of the table.

    The effects are those of a median polish (Tukey 1977): one odd cell does not move them.
    """
    _, by_row, by_column, _ = median_polish(away)
    x0, y0 = grid.right + _STRIP_PX / 2, grid.bottom + _STRIP_PX / 2
    line(root, [(x0, grid.top), (x0, grid.bottom)], ink=BLACK, width=1)
    line(root, [(grid.left, y0), (grid.right, y0)], ink=BLACK, width=1)
    rows = []
    for row, effect in enumerate(by_row.tolist(), start=1):
        if (step := _step(effect)) is not None:
            y, length = grid.corner(row, 1)[1], _length(effect)
            box(root, x=min(x0, x0 + length), y=y + 5, width=abs(length), height=CELL_HEIGHT_PX - 10, fill=step.fill)
            end = grid.right + _STRIP_PX + _NUMBER_PX
            write(root, percent_away(effect), x=end, y=y + CELL_HEIGHT_PX / 2 + 5, anchor="end")
            rows.append((words.gettext("row {name}", name=cell_name(row, 1)[:-1]), percent_away(effect)))
    for col, effect in enumerate(by_column.tolist(), start=1):
        if (step := _step(effect)) is not None:
            x, length = grid.corner(1, col)[0], _length(effect)
            box(root, x=x + 5, y=min(y0, y0 - length), width=CELL_WIDTH_PX - 10, height=abs(length), fill=step.fill)
            write(root, percent_away(effect), x=x + CELL_WIDTH_PX / 2, y=grid.bottom + _STRIP_PX + 8, anchor="middle")
            rows.append((words.gettext("column {name}", name=str(col)), percent_away(effect)))
    return rows


def _length(effect: float) -> float:
    """Length of a bar, pixels: an effect of the whole span fills half of the strip."""
    return float(np.clip(effect / _SPAN, -1, 1)) * _BAR_PX
