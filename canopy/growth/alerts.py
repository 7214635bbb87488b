"""Trouble seen early: cells, rows, columns and trays that fall behind their own forecasts, said with a hint.

A hint is where to look first, never a diagnosis.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import false_discovery_control, t

from canopy.growth.beside import Departures
from canopy.growth.charts import ewma, ewma_sd, limit_for
from canopy.records import TrayRecord, cell_name
from canopy.records.text import TEXT_TYPE, Dtypes
from canopy.settings.growth import WatchSettings

FloatArray = NDArray[np.float64]

ALERT_DTYPES: Dtypes = {
    "das": "float64", "what": TEXT_TYPE, "name": TEXT_TYPE, "since_das": "float64", "z": "float64", "below": "float64",
    "said": TEXT_TYPE,
}  # fmt: skip
_HINTS = {
    "row": "look along it first: dripper, light, draught",
    "column": "look along it first: lamp, fan, dripper",
    "tray": "look at water, roots, warmth and light of the whole tray, and at the photo itself",
    "cell": "look at this plant",
}


@dataclass(frozen=True)
class Watch:
    """What was found.

    Attributes
    ----------
    alerts : pandas.DataFrame
        `ALERT_DTYPES`, by day: `what` is `tray`, `row`, `column` or `cell`; a row, column or tray is named on the photo
        on which it first passes its limit and again after it was back within it; cells on each photo on which they
        stand out. `since_das` is the photo on which it most likely began, `z` the average over its limit (of a cell:
        its departure), `below` is the share by which it lies below its forecast (a cell beside the others of its tray).
    lines : pandas.DataFrame
        The charts: `das, what, name, z, average, limit`; the average alarms below −limit.
    limit : float
        Limit in standard deviations of the average.
    said : str
        The false-alarm rate and what it rests on.
    """

    alerts: pd.DataFrame
    lines: pd.DataFrame
    limit: float
    said: str


def watch(departures: Departures, *, tray: TrayRecord, settings: WatchSettings) -> Watch:
    """Judge a tray's departures.

    Rows, columns and the tray are judged by moving averages, only downwards; single cells by one photo's departure,
    with the share of false ones among those named held at a setting (Benjamini & Hochberg 1995, J. R. Stat. Soc. B
    57:289).

    Parameters
    ----------
    departures : Departures
        With plants named by their cells (`B4`, `B4/2`, `B4 cut 1`).
    tray : TrayRecord
    settings : WatchSettings

    Returns
    -------
    Watch
    """
    row, col = _places(departures.plants)
    names, members = _lines(row, col, settings=settings)
    z = np.column_stack([departures.tray_z, *(_line_z(departures.z[:, m], settings=settings) for m in members)])
    # All lines together ring `false_alarms` times in 100 photos; an average that alarms on one side only rings half as
    # often as the two-sided one of the tables.
    length = max(100.0 * len(names) / settings.false_alarms / 2.0, 2.0)
    limit = limit_for(length, smoothing=settings.smoothing)
    average = ewma(z, smoothing=settings.smoothing)
    limits = limit * ewma_sd(len(z), smoothing=settings.smoothing)
    ln = np.column_stack([departures.tray_ln, *(_line_ln(departures.ln[:, m]) for m in members)])
    charts = _Charts(departures.das, names, z, average, limits, ln)
    found = _line_alerts(charts, tray)
    found += _cell_alerts(departures, row, col, tray, settings=settings)
    alerts = pd.DataFrame(found, columns=list(ALERT_DTYPES)).astype(ALERT_DTYPES)
    alerts = alerts.sort_values("das", kind="stable", ignore_index=True)
    said = (
        f"{len(names)} charts with a limit of {limit:.2f} standard deviations: {settings.false_alarms:g} false alarms "
        f"per 100 photos of a tray where plants depart independently of one another"
    )
    return Watch(alerts, _chart_table(charts), limit, said)


Line = tuple[str, str]


@dataclass(frozen=True)
class _Charts:
    """The charts of tray, rows and columns: (k, lines) arrays, `das` and `limits` (k,)."""

    das: FloatArray
    names: list[Line]
    z: FloatArray
    average: FloatArray
    limits: FloatArray
    ln: FloatArray


def _places(plants: tuple[str, ...]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Row and column numbers from names that begin with a cell's."""
    row, col = [], []
    for name in plants:
        found = re.match(r"([A-Z]+)(\d+)", name)
        if found is None:
            raise ValueError(f"plant {name!r} is not named by its cell; name plants as `line_up` does")
        number = 0
        for letter in found[1]:
            number = 26 * number + ord(letter) - ord("A") + 1
        row.append(number)
        col.append(int(found[2]))
    return np.array(row, dtype=np.int64), np.array(col, dtype=np.int64)


def _lines(
    row: NDArray[np.int64], col: NDArray[np.int64], *, settings: WatchSettings
) -> tuple[list[Line], list[NDArray[np.bool_]]]:
    """Names of tray, rows and columns with enough plants, and the plants of all but the tray."""
    names: list[Line] = [("tray", "")]
    members = []
    for what, place in (("row", row), ("column", col)):
        for number in np.unique(place):
            of = place == number
            # A line that is the whole tray is no line beside others.
            if of.sum() >= settings.line_cells and not of.all():
                names.append((what, cell_name(int(number), 1).rstrip("1") if what == "row" else str(number)))
                members.append(of)
    return names, members


def _line_z(z: FloatArray, *, settings: WatchSettings) -> FloatArray:
    """(k,) departure of a line in its standard deviations; NaN with too few plants seen."""
    count = np.isfinite(z).sum(axis=1)
    clipped = np.nan_to_num(np.clip(z, -settings.clip, settings.clip)).sum(axis=1)
    return np.where(count >= settings.line_cells, clipped / np.sqrt(np.maximum(count, 1)), np.nan)


def _line_ln(ln: FloatArray) -> FloatArray:
    return np.array([float(np.median(r[np.isfinite(r)])) if np.isfinite(r).any() else np.nan for r in ln])


def _line_alerts(charts: _Charts, tray: TrayRecord) -> list[tuple[object, ...]]:
    found: list[tuple[object, ...]] = []
    das, limits, ln = charts.das, charts.limits, charts.ln
    for j, (what, name) in enumerate(charts.names):
        below = charts.average[:, j] < -limits
        for k in np.flatnonzero(below & ~np.concatenate([[False], below[:-1]])):
            since = das[_began(charts.z[: k + 1, j])]
            share = 1.0 - float(np.exp(ln[k, j])) if np.isfinite(ln[k, j]) else float("nan")
            subject = f"tray {tray.tray}" if what == "tray" else f"{what} {name}"
            beside = "its forecast" if what == "tray" else "its forecast, beside the rest of the tray"
            said = (
                f"{subject} falls behind since {_day(tray, since)} ({100 * share:.0f} % below {beside}): {_HINTS[what]}"
            )
            found.append((das[k], what, name, since, charts.average[k, j] / limits[k], share, said))
    return found


def _began(z: FloatArray) -> int:
    """Most likely start of a lasting fall: greatest (sum of what follows)²/count (Hinkley 1970, Biometrika 57:1)."""
    values = np.nan_to_num(z)[::-1]
    sums = np.minimum(np.cumsum(values), 0.0)
    return len(z) - 1 - int(np.argmax(sums**2 / np.arange(1, len(z) + 1)))


def _cell_alerts(
    departures: Departures,
    row: NDArray[np.int64],
    col: NDArray[np.int64],
    tray: TrayRecord,
    *,
    settings: WatchSettings,
) -> list[tuple[object, ...]]:
    found: list[tuple[object, ...]] = []
    for k, das in enumerate(departures.das):
        seen = np.flatnonzero(np.isfinite(departures.z[k]))
        if not len(seen):
            continue
        p = 2.0 * t.sf(np.abs(departures.z[k, seen]), settings.cell_dof)
        named = seen[(false_discovery_control(p) <= settings.false_share) & (departures.z[k, seen] < 0)]
        for i in named:
            share = 1.0 - float(np.exp(departures.ln[k, i]))
            cell = cell_name(int(row[i]), int(col[i]))
            said = f"{cell} lies {100 * share:.0f} % below its forecast on {_day(tray, das)}: {_HINTS['cell']}"
            found.append((das, "cell", cell, das, departures.z[k, i], share, said))
    return found


def _day(tray: TrayRecord, das: float) -> str:
    """A date, or the day after sowing where that is unknown."""
    if tray.sown_on is None:
        return f"day {das:.0f}"
    return str((pd.Timestamp(tray.sown_on) + pd.Timedelta(days=float(das))).date())


def _chart_table(charts: _Charts) -> pd.DataFrame:
    k, j = (index.ravel() for index in np.indices(charts.z.shape))
    return pd.DataFrame(
        {
            "das": charts.das[k],
            "what": pd.Series([charts.names[i][0] for i in j], dtype=TEXT_TYPE),
            "name": pd.Series([charts.names[i][1] for i in j], dtype=TEXT_TYPE),
            "z": charts.z.ravel(),
            "average": charts.average.ravel(),
            "limit": charts.limits[k],
        }
    )
