"""The clock of growth: days after sowing, or thermal time when temperatures are given."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.growth.checks import Complaint, check_temperatures
from canopy.settings.growth import ClockSettings

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Clock:
    """Turns days after sowing into clock units and back.

    A unit is a day; on a thermal clock it is a standard day, the degree days of a day at the settings' usual
    temperatures, so that the same figures of a crop serve both.

    Attributes
    ----------
    kind : `days` or `degree days`
    days : (n,) float array
        Days after sowing at which the clock is known, rising from 0.
    units : (n,) float array
        Clock at those days; before and after them it runs at `pace_before` and `pace_after` units a day.
    pace_before, pace_after : float
    note : str
        How the days to come are reckoned, one sentence; empty for plain days.
    """

    kind: str
    days: FloatArray
    units: FloatArray
    pace_before: float = 1.0
    pace_after: float = 1.0
    note: str = ""

    def at(self, das: FloatArray) -> FloatArray:
        """Clock at days after sowing (fractions allowed); rises with `das`."""
        inside = np.interp(das, self.days, self.units)
        before = np.minimum(das - self.days[0], 0.0) * self.pace_before
        after = np.maximum(das - self.days[-1], 0.0) * self.pace_after
        return np.asarray(inside + before + after)

    def das(self, units: FloatArray) -> FloatArray:
        """Days after sowing at a clock reading; infinite stays infinite."""
        inside = np.interp(units, self.units, self.days)
        before = np.minimum(units - self.units[0], 0.0) / self.pace_before
        after = np.maximum(units - self.units[-1], 0.0) / self.pace_after
        return np.asarray(inside + before + after)


PLAIN_DAYS = Clock("days", np.array([0.0]), np.array([0.0]))
"""The clock that is days after sowing itself."""


def degree_days(low_c: FloatArray, high_c: FloatArray, *, settings: ClockSettings) -> FloatArray:
    """Degree days of each day, max(0, (Tmax + Tmin)/2 − base), the mean cut at the cap.

    Parameters
    ----------
    low_c, high_c : (n,) float array
        Least and greatest temperature of the day, °C.
    settings : ClockSettings
        `base_c` and `cap_c`.

    Returns
    -------
    (n,) float array
        °C·d, not below 0; NaN where a temperature is missing.
    """
    mean = np.minimum((low_c + high_c) / 2.0, settings.cap_c)
    return np.maximum(mean - settings.base_c, 0.0)


def thermal_clock(
    temperatures: pd.DataFrame, *, sown_on: pd.Timestamp, settings: ClockSettings
) -> tuple[Clock, tuple[Complaint, ...]]:
    """Clock in standard days from a table of temperatures.

    Parameters
    ----------
    temperatures : pandas.DataFrame
        `date`, `low_c`, `high_c`; one line a day. Lines that make no sense are left out and said.
    sown_on : pandas.Timestamp
        Day of sowing.
    settings : ClockSettings

    Returns
    -------
    clock : Clock
        Days without a line run at the mean pace of the last `recent_days` known; so do days to come. Plain days when no
        line of the table can be used.
    complaints : tuple of Complaint
    """
    good, complaints = check_temperatures(temperatures)
    das = (good["date"] - sown_on.normalize()).dt.days.to_numpy(dtype=float)
    good, das = good[das >= 0], das[das >= 0]
    if not len(good):
        said = Complaint("temperatures", None, "date", "no usable day since sowing; the clock is plain days")
        return PLAIN_DAYS, (*complaints, said)
    usual = degree_days(np.array([settings.usual_low_c]), np.array([settings.usual_high_c]), settings=settings)[0]
    known = degree_days(good["low_c"].to_numpy(float), good["high_c"].to_numpy(float), settings=settings) / usual
    # A clock that stood still for good would never reach any area: forecasts need some pace.
    pace = max(float(known[-settings.recent_days :].mean()), settings.least_pace)
    steps = np.full(int(das[-1]) + 1, pace)
    steps[das.astype(int)] = known
    units = np.concatenate([[0.0], np.cumsum(steps)])
    gaps = len(steps) - len(known)
    note = f"days to come at {pace:.2f} standard days each, as on the last {min(len(known), settings.recent_days)}"
    if gaps:
        note += f"; {gaps} past days without temperature reckoned likewise"
    # Equal readings (days below the base temperature) would leave the way back undefined.
    units = units + np.arange(len(units)) * 1e-9
    return Clock("degree days", np.arange(len(units), dtype=float), units, pace, pace, note), complaints
