"""What becomes of trays and their cells from day to day: evenness as lines, readiness as a map of cells by days."""

from __future__ import annotations

import math
from datetime import date, datetime

import numpy as np
import pandas as pd

from canopy.pictures.axes import HEIGHT_PX, WIDTH_PX, Axes, day_ticks
from canopy.pictures.boxes import LEAST_WIDTH_PX, NOT_SHOWN, missing_legend, missing_sign, steps_legend
from canopy.pictures.palette import BLACK, RAMP, SERIES, WHITE, Colour, css_colour, look_of, step_of
from canopy.pictures.readings import compact, shown
from canopy.pictures.svg import (
    LINE_PX,
    MARGIN_PX,
    TITLE_PX,
    Chart,
    Element,
    add,
    box,
    canvas,
    finished,
    line,
    text_px,
    write,
)
from canopy.words import Words

_DASHES = ("", "8 4", "2 3", "10 3 2 3")
_SIGNS = ("●", "■", "▲", "◆", "▼", "★", "✚", "○")
_DAY_PX, _ROW_PX = 106.0, 24.0
_NAME_PX = 48.0


def evenness_over_time(trays: pd.DataFrame, *, words: Words, name: str, title: str = "") -> Chart:
    """Evenness against time, a line for each tray.

    Parameters
    ----------
    trays : pandas.DataFrame
        Rows of `trays.csv`: `tray`, `taken_at`, `evenness`; rows without time or evenness are left out. At most eight
        trays can be told apart; the ninth and more are left out and that is said.
    words : Words
    name : str
        Unique on the page.
    title : str
    """
    title = title or words.gettext("Evenness over time")
    known = trays.dropna(subset=["taken_at", "evenness"])
    known = known.assign(day=[_day(text) for text in known["taken_at"]]).sort_values(["taken_at"], kind="stable")
    names = list(dict.fromkeys(known["tray"]))
    drawn, left_out = names[: len(SERIES)], names[len(SERIES) :]
    known = known[known["tray"].isin(drawn)]
    summary = _told(known, drawn, left_out, words)
    root = canvas(WIDTH_PX, HEIGHT_PX + LINE_PX * bool(left_out), name=name, title=title, summary=summary)
    days = known["day"].tolist()
    if days:
        ends = (min(days).toordinal() - 0.5, max(days).toordinal() + 0.5)
        axes = Axes(ends, (0.0, 100.0))
        head = shown("evenness", words=words).head
        axes.draw(root, x_head="", y_head=head, x_ticks=day_ticks(days))
        taken: list[float] = []
        for number, tray in enumerate(drawn):
            _draw_series(root, axes, known[known["tray"] == tray], number, taken, with_values=len(drawn) == 1)
    if left_out:
        write(
            root, words.gettext("Not drawn: {names}", names=", ".join(left_out)), x=MARGIN_PX, y=HEIGHT_PX + 8, size=13
        )
    rows = tuple(
        zip(known["tray"], [d.isoformat() for d in days], [compact(v) for v in known["evenness"]], strict=True)
    )
    header = (words.gettext("Tray"), words.gettext("Day"), shown("evenness", words=words).head)
    return Chart(finished(root), title, summary, header, rows)


def readiness_by_day(cells: pd.DataFrame, *, words: Words, name: str, title: str = "") -> Chart:
    """A map of cells by days: each box shows readiness and the letter of the decision.

    Parameters
    ----------
    cells : pandas.DataFrame
        Cells of one tray over its photos: `taken_at`, `row`, `col`, `cell`, `state`, `readiness`, `decision`. Of
        several photos of a day the last counts.
    words : Words
    name : str
        Unique on the page.
    title : str
    """
    title = title or words.gettext("Readiness from day to day")
    known = cells.dropna(subset=["taken_at"]).sort_values(["taken_at", "row", "col"], kind="stable")
    known = known.assign(day=[_day(text) for text in known["taken_at"]]).drop_duplicates(["cell", "day"], keep="last")
    days = sorted(set(known["day"]))
    order = known[["row", "col", "cell"]].drop_duplicates().sort_values(["row", "col"])["cell"].tolist()
    boxes = {(entry["cell"], entry["day"]): entry for entry in known.to_dict("records")}
    summary = _ready_counts(known, days, words)
    width = max(
        MARGIN_PX * 2 + _NAME_PX + _DAY_PX * len(days), text_px(title, size=TITLE_PX) + 2 * MARGIN_PX, LEAST_WIDTH_PX
    )
    top = MARGIN_PX + TITLE_PX + 36
    bottom = top + _ROW_PX * len(order)
    root = canvas(width, bottom + 104, name=name, title=title, summary=summary)
    for column, day in enumerate(days):
        x = MARGIN_PX + _NAME_PX + (column + 0.5) * _DAY_PX
        write(root, day.isoformat(), x=x, y=top - 8, anchor="middle", bold=True)
    rows = []
    for line_number, cell in enumerate(order):
        y = top + line_number * _ROW_PX
        write(root, cell, x=MARGIN_PX + _NAME_PX - 8, y=y + 17, anchor="end", bold=True)
        texts = [
            _draw_day(root, boxes.get((cell, day)), cell, day, MARGIN_PX + _NAME_PX + k * _DAY_PX, y)
            for k, day in enumerate(days)
        ]
        rows.append((cell, *texts))
    steps_legend(root, RAMP, [compact(100 * k / len(RAMP)) for k in range(len(RAMP) + 1)], y=bottom + 14, unit="0–100")
    letters = ", ".join(
        f"{look_of(kind).letter} {words.gettext(kind)}" for kind in ("harvest", "transplant", "inspect", "wait")
    )
    write(root, letters, x=MARGIN_PX, y=bottom + 68, size=13)
    missing_legend(root, y=bottom + 88, words=words)
    header = (words.gettext("Cell"), *(day.isoformat() for day in days))
    return Chart(finished(root), title, summary, header, tuple(rows))


def _draw_series(
    root: Element, axes: Axes, tray: pd.DataFrame, number: int, taken: list[float], *, with_values: bool
) -> None:
    """One tray's line, a sign at each reading, its name at the right end."""
    points = [axes.at(d.toordinal(), v) for d, v in zip(tray["day"], tray["evenness"], strict=True)]
    ink: Colour = SERIES[number]
    line(root, points, ink=ink, dash=_DASHES[number % len(_DASHES)])
    for (x, y), value in zip(points, tray["evenness"], strict=True):
        sign = write(root, _SIGNS[number], x=x, y=y + 5, anchor="middle", ink=ink)
        sign.set("data-value", compact(value))
        if with_values:
            write(root, compact(value), x=x, y=y - 10, anchor="middle", size=13)
    y = points[-1][1]
    while any(abs(y - other) < 16 for other in taken):
        y += 16
    taken.append(y)
    label = write(root, f"{_SIGNS[number]} {tray['tray'].iloc[0]}", x=axes.right + 8, y=y + 5, ink=ink)
    label.set("fill", css_colour(BLACK))


def _draw_day(root: Element, entry: dict[object, object] | None, cell: str, day: date, x: float, y: float) -> str:
    """One box; its text comes back."""
    value = math.nan if entry is None or pd.isna(entry["readiness"]) else float(entry["readiness"])  # type: ignore[call-overload, arg-type]
    letter = look_of(entry["decision"]).letter if entry is not None and not pd.isna(entry["decision"]) else ""  # type: ignore[call-overload]
    if math.isnan(value):
        text = missing_sign(entry["state"]) if entry is not None else NOT_SHOWN
        fill, ink = WHITE, BLACK
    else:
        step = step_of(value, RAMP, low=0.0, high=100.0)
        text, fill, ink = f"{value:.0f} {letter}".strip(), step.fill, step.ink
    group = add(root, "g", data_cell=cell, data_day=day.isoformat())
    add(group, "title").text = f"{cell}, {day.isoformat()}: {text}"
    box(group, x=x, y=y, width=_DAY_PX, height=_ROW_PX, fill=fill)
    write(group, text, x=x + _DAY_PX / 2, y=y + 17, anchor="middle", ink=ink)
    return text


def _day(taken_at: str) -> date:
    return datetime.fromisoformat(taken_at).date()


def _told(known: pd.DataFrame, names: list[str], left_out: list[str], words: Words) -> str:
    """From what to what evenness went, tray by tray."""
    texts = []
    for tray in names:
        values = known.loc[known["tray"] == tray, "evenness"].tolist()
        texts.append(
            words.gettext("{tray}: {first} to {last}", tray=tray, first=compact(values[0]), last=compact(values[-1]))
        )
    if left_out:
        texts.append(words.gettext("not drawn: {names}", names=", ".join(left_out)))
    return "; ".join(texts) + "." if texts else words.gettext("No values.")


def _ready_counts(known: pd.DataFrame, days: list[date], words: Words) -> str:
    ready = known["decision"].isin(["harvest", "transplant"]).fillna(False).to_numpy(dtype=bool)
    of_day = np.array([day.toordinal() for day in known["day"]], dtype=int)
    texts = [
        words.gettext("{day}: {n} ready", day=day.isoformat(), n=int(ready[of_day == day.toordinal()].sum()))
        for day in days
    ]
    return "; ".join(texts) + "." if texts else words.gettext("No values.")
