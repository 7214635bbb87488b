"""Growth of one plant: its readings with their ranges, the curve through them and how far it may be off."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.growth.draws import Futures
from canopy.pictures.axes import HEIGHT_PX, WIDTH_PX, Axes
from canopy.pictures.palette import BLACK, BLUE, RAMP, VERMILION, css_colour
from canopy.pictures.readings import shown
from canopy.pictures.svg import Chart, Element, add, canvas, finished, line, number, write
from canopy.records.text import Dtypes
from canopy.words import Words

FAN_DTYPES: Dtypes = {"das": "float64", "low_mm2": "float64", "area_mm2": "float64", "high_mm2": "float64"}
"""Days after sowing, and the middle and the ends of the area on that day."""


def fan_of(futures: Futures, plant: str, das: NDArray[np.float64], *, level: float) -> pd.DataFrame:
    """The curve of one plant with its range, as `growth_fan` draws it.

    Parameters
    ----------
    futures : Futures
        From `canopy.growth.draws.draw_futures`.
    plant : str
        One of `futures.curves.plants`.
    das : (n,) array
        Days after sowing.
    level : float
        Share of drawn curves within the range, 0..1.

    Returns
    -------
    pandas.DataFrame
        `FAN_DTYPES`, a row for each day.
    """
    drawn = np.exp(futures.ln_area(das)[:, futures.curves.plants.index(plant)])
    low, middle, high = np.quantile(drawn, [(1 - level) / 2, 0.5, (1 + level) / 2], axis=0)
    columns = {"das": das, "low_mm2": low, "area_mm2": middle, "high_mm2": high}
    return pd.DataFrame(columns, columns=list(FAN_DTYPES)).astype(FAN_DTYPES)


def growth_fan(
    fan: pd.DataFrame,
    readings: pd.DataFrame,
    *,
    words: Words,
    name: str,
    title: str,
    ready_mm2: float | None = None,
    today_das: float | None = None,
) -> Chart:
    """Draw a growth curve with its range and the readings it rests on.

    Parameters
    ----------
    fan : pandas.DataFrame
        `FAN_DTYPES`, at least two days, in order; from `fan_of`.
    readings : pandas.DataFrame
        `das`, `area_mm2`, `area_low_mm2`, `area_high_mm2`; rows without an area are left out.
    words : Words
    name : str
        Unique on the page.
    title : str
    ready_mm2 : float, optional
        Area at which the plant is ready: a dashed line.
    today_das : float, optional
        Day of asking: an upright line.
    """
    about = shown("area_mm2", words=words)
    seen = readings.dropna(subset=["area_mm2"]).fillna({"area_low_mm2": np.nan, "area_high_mm2": np.nan})
    top = max([float(fan["high_mm2"].max()), ready_mm2 or 0.0, *seen["area_high_mm2"].dropna(), *seen["area_mm2"]])
    days = [*fan["das"], *seen["das"]]
    axes = Axes((min(days), max(days)), (0.0, 1.05 * top * about.factor))
    last = fan.iloc[-1]
    summary = words.gettext(
        "{n} readings; on day {day} the curve is at {area}, range {low} to {high}.",
        n=len(seen),
        day=f"{last['das']:g}",
        area=about.with_unit(last["area_mm2"]),
        low=about.text(last["low_mm2"]),
        high=about.with_unit(last["high_mm2"]),
    )
    root = canvas(WIDTH_PX, HEIGHT_PX, name=name, title=title, summary=summary)
    axes.draw(root, x_head=words.gettext("Days after sowing"), y_head=about.head)
    _draw_curve(root, axes, fan, about.factor, words)
    if today_das is not None:
        _mark_today(root, axes, today_das, words)
    if ready_mm2 is not None:
        ends = [axes.at(end, ready_mm2 * about.factor) for end in axes.x]
        line(root, ends, ink=BLACK, width=1.5, dash="7 4")
        head = words.gettext("ready")
        write(root, f"{head} {about.text(ready_mm2)}", x=ends[1][0] + 6, y=ends[1][1] + 5)
    _draw_readings(root, axes, seen, about.factor)
    rows = [
        (kind, f"{das:g}", *(about.text(value) for value in areas))
        for kind, entries in (
            (words.gettext("reading"), _entries(seen, "area_low_mm2", "area_high_mm2")),
            (words.gettext("curve"), _entries(fan, "low_mm2", "high_mm2")),
        )
        for das, *areas in entries
    ]
    header = ("", words.gettext("Days after sowing"), about.head, words.gettext("from"), words.gettext("to"))
    return Chart(finished(root), title, summary, header, tuple(rows))


def _draw_curve(root: Element, axes: Axes, fan: pd.DataFrame, factor: float, words: Words) -> None:
    """The range as a band, the middle as a line, both named at the right."""
    ends = {
        column: [axes.at(d, v * factor) for d, v in zip(fan["das"], fan[column], strict=True)] for column in FAN_DTYPES
    }
    outline = [*ends["low_mm2"], *reversed(ends["high_mm2"])]
    points = " ".join(f"{number(x)},{number(y)}" for x, y in outline)
    fill = css_colour(RAMP[1].fill)
    add(root, "polygon", points=points, fill=fill, stroke=css_colour(RAMP[3].fill), data_part="range")
    line(root, ends["area_mm2"], ink=BLUE, width=2.5).set("data-part", "curve")
    x, y = ends["area_mm2"][-1]
    write(root, words.gettext("curve"), x=x + 6, y=y + 5, bold=True)
    high = min(ends["high_mm2"][-1][1] + 5, y - 13)
    write(root, words.gettext("range"), x=x + 6, y=high)


def _mark_today(root: Element, axes: Axes, das: float, words: Words) -> None:
    if axes.x[0] <= das <= axes.x[1]:
        foot, head = axes.at(das, axes.y[0]), axes.at(das, axes.y[1])
        line(root, [foot, head], ink=BLACK, width=1, dash="2 3")
        write(root, words.gettext("today"), x=head[0] - 4, y=head[1] + 12, anchor="end", size=13)


def _draw_readings(root: Element, axes: Axes, seen: pd.DataFrame, factor: float) -> None:
    for das, area, low, high in _entries(seen, "area_low_mm2", "area_high_mm2"):
        if not (np.isnan(low) or np.isnan(high)):
            line(root, [axes.at(das, low * factor), axes.at(das, high * factor)], ink=BLACK, width=1.5)
        x, y = axes.at(das, area * factor)
        add(root, "circle", cx=x, cy=y, r=5, fill=css_colour(VERMILION), stroke=css_colour(BLACK), data_part="reading")


def _entries(table: pd.DataFrame, low: str, high: str) -> list[tuple[float, float, float, float]]:
    columns = [table[name].to_numpy(dtype=float, na_value=np.nan).tolist() for name in ("das", "area_mm2", low, high)]
    return list(zip(*columns, strict=True))
