"""Tables of growth and of what is to come, with dates for people, and the columns they have."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np
import pandas as pd

from canopy.growth import (
    Forecast,
    Touching,
    WeightModel,
    departures,
    estimate_weights,
    forecast_tray,
    watch,
    when_touching,
)
from canopy.growth.daily import NOON
from canopy.measure.columns import Column, as_table
from canopy.outlook.follow import Crop, Followed
from canopy.plan.moment import best_days, expected_worth
from canopy.settings import Settings


def _text(name: str, description: str) -> Column:
    return Column(name, "string", "", description)


def _number(name: str, unit: str, description: str) -> Column:
    return Column(name, "float64", unit, description)


_TRAY = (
    _text("tray", "Tray id."),
    _text("crop", "Crop of its recipe."),
    _text("stage", "Stage of its recipe."),
    Column("das", "int64", "d", "Days after sowing on the day of asking."),
)
GROWTH_COLUMNS = (
    *_TRAY,
    Column("plants", "int64", "", "Plants that stand in the tray."),
    Column("photos", "int64", "", "Photos of these plants."),
    _text("last_photo", "Day of the last of them."),
    _number("area_mm2", "mm²", "Median area by the curves on the day of the last photo."),
    _number("rgr_per_day", "1/d", "Median relative growth rate on that day."),
    _text("curve", "Kind of growth curve that suits the tray best."),
    Column("alerts", "int64", "", "Alerts of the last days."),
)
PLANT_COLUMNS = (
    _TRAY[0],
    _text("cell", "Cell the plant stands in."),
    _text("plant", "The plant: `B4`, its successor in the cell `B4/2`, after a first cut `B4 cut 1`."),
    Column("readings", "int64", "", "Photos that showed it."),
    _number("area_mm2", "mm²", "Area by the curve on the day of its last reading."),
    _number("rgr_per_day", "1/d", "Relative growth rate there."),
    _number("rgr_se", "1/d", "Standard error of that rate."),
    _number("final_area_mm2", "mm²", "Final area where the readings pin it down."),
    _number("weight_g", "g", "Fresh weight at its last reading."),
    _number("weight_low_g", "g", "Low end of its range."),
    _number("weight_high_g", "g", "High end of its range."),
    _text("note", "What is not known of the plant, and why."),
)
ALERT_COLUMNS = (
    _TRAY[0],
    _text("date", "Photo that gave the alert."),
    _text("what", "`tray`, `row`, `column` or `cell`."),
    _text("name", "Which one."),
    _text("since", "Photo with which it most likely began."),
    _number("below", "1", "Share by which it lies below its forecast."),
    _text("said", "The sentence: where to look first, never a diagnosis."),
)
FORECAST_COLUMNS = (
    *_TRAY,
    Column("plants", "int64", "", "Plants that stand in the tray."),
    _number("ready_now", "", "Expected number ready on the day of asking."),
    _text("ready_on", "Day on which the stated share of plants is ready; empty: may never be."),
    _text("ready_from", "Low end of its range."),
    _text("ready_until", "High end of its range; empty: no end can be told."),
    _text("touch_on", "Day by which neighbours touch; empty: not within the days looked at."),
    _text("late_on", "Day from which its first plants are too old or too large; empty: no such bound is near."),
    _number("late_risk", "1", "Probability of that within the days to come."),
    _text("note", "What the forecast rests on, and its doubts."),
)
DAY_COLUMNS = (
    _TRAY[0],
    _text("crop", "Crop of its recipe."),
    _text("date", "Day to come."),
    _number("ready", "", "Expected number of plants ready and not yet too late, at noon."),
    _number("ready_low", "", "Low end of the range."),
    _number("ready_high", "", "High end of the range."),
    _number("grams", "g", "Expected fresh weight of these plants."),
    _number("grams_low", "g", "Low end of the range."),
    _number("grams_high", "g", "High end of the range."),
    _number("late", "", "Expected number of plants past their bound."),
    _text("note", "Why grams or their range are missing."),
)
READY_COLUMNS = (
    _TRAY[0],
    _text("cell", "Cell the plant stands in."),
    _text("ready_on", "Day on which the plant is ready; empty: it may never be."),
    _text("ready_from", "Low end of the range."),
    _text("ready_until", "High end of the range; empty: no end can be told."),
    _number("ready_now", "1", "Probability that it is ready on the day of asking."),
    _text("late_on", "Day from which it is too late; empty: no bound."),
    _text("best_on", "Day on which its size and age are expected to be worth most; empty: later than the days told."),
    _text("note", "Doubts."),
)

_NEVER_DAYS = 3650
"""Days past this are no dates for people."""


def day_text(sown_on: date, das: float) -> str | None:
    """The date of a day after sowing; None where it is infinite, unknown or ages away."""
    if not np.isfinite(das) or das > _NEVER_DAYS:
        return None
    return str((pd.Timestamp(sown_on) + pd.Timedelta(days=float(das))).date())


def growth_tables(
    followed: Sequence[Followed], weights: Mapping[Crop, WeightModel | None], *, today: date, settings: Settings
) -> dict[str, pd.DataFrame]:
    """How trays grow: `growth` by tray, `plants` by plant, `alerts` by day."""
    alerts = [_alerts(one, today=today, settings=settings) for one in followed]
    growth = [_growth(one, len(said), today=today) for one, said in zip(followed, alerts, strict=True)]
    plants = [_plants(one, weights[one.lined.crop]) for one in followed]
    return {
        "growth": as_table(_joined(growth, GROWTH_COLUMNS), columns=GROWTH_COLUMNS),
        "plants": _stacked(plants, PLANT_COLUMNS),
        "alerts": _stacked(alerts, ALERT_COLUMNS),
    }


def forecast_tables(
    followed: Sequence[Followed], weights: Mapping[Crop, WeightModel | None], *, today: date, settings: Settings
) -> dict[str, pd.DataFrame]:
    """What is to come: `forecast` by tray, `days` by tray and day, `ready` by plant."""
    told = [forecast_of(one, weights[one.lined.crop], today=today, settings=settings) for one in followed]
    touching = [
        when_touching(
            one.curves, one.readings, layout=one.lined.tray.record.layout, today_das=_das(one, today),
            settings=settings.growth.forecast,
        )
        for one in followed
    ]  # fmt: skip
    pairs = list(zip(followed, told, strict=True))
    rows = [_forecast(one, f, touch, today=today) for (one, f), touch in zip(pairs, touching, strict=True)]
    return {
        "forecast": as_table(_joined(rows, FORECAST_COLUMNS), columns=FORECAST_COLUMNS),
        "days": _stacked([_days(one, f) for one, f in pairs], DAY_COLUMNS),
        "ready": _stacked([_ready(one, f, today=today, settings=settings) for one, f in pairs], READY_COLUMNS),
    }


TABLE_COLUMNS: dict[str, tuple[Column, ...]] = {
    "growth": GROWTH_COLUMNS, "plants": PLANT_COLUMNS, "alerts": ALERT_COLUMNS, "forecast": FORECAST_COLUMNS,
    "days": DAY_COLUMNS, "ready": READY_COLUMNS,
}  # fmt: skip
"""Columns of each table."""


def forecast_of(one: Followed, weight: WeightModel | None, *, today: date, settings: Settings) -> Forecast:
    """The forecast of one tray."""
    tray = one.lined.tray
    return forecast_tray(
        one.curves, recipe=tray.recipe, tray=tray.record, today=today, settings=settings.growth.forecast, weight=weight
    )


def sown(one: Followed) -> date:
    """Day of sowing; every tray that is followed has one."""
    day = one.lined.tray.record.sown_on
    assert day is not None
    return day


def _das(one: Followed, today: date) -> int:
    return (today - sown(one)).days


def _label(one: Followed, today: date) -> dict[str, object]:
    crop, stage = one.lined.crop
    return {"tray": one.lined.name, "crop": crop, "stage": stage, "das": _das(one, today)}


def _growth(one: Followed, alerts: int, *, today: date) -> dict[str, object]:
    table = one.curves.table
    return {
        **_label(one, today),
        "plants": len(one.now),
        "photos": one.readings["das"].nunique(),
        "last_photo": day_text(sown(one), float(table["last_das"].max())),
        "area_mm2": float(table["area_mm2"].median()),
        "rgr_per_day": float(table["rgr_per_day"].median()),
        "curve": one.curves.pooled.shape,
        "alerts": alerts,
    }


def _plants(one: Followed, weight: WeightModel | None) -> pd.DataFrame:
    table = one.curves.table
    grams = estimate_weights(weight, table["area_mm2"], table["last_das"])
    notes = [
        "; ".join(text for text in pair if text) or None for pair in zip(table["note"], grams["note"], strict=True)
    ]
    kept = table[["readings", "area_mm2", "rgr_per_day", "rgr_se", "final_area_mm2", "plant"]]
    return pd.concat([kept, grams.drop(columns="note")], axis=1).assign(
        tray=one.lined.name, cell=one.now["cell"].to_numpy(), note=np.array(notes, dtype=object)
    )


def _alerts(one: Followed, *, today: date, settings: Settings) -> pd.DataFrame:
    tray = one.lined.tray
    off = departures(
        one.readings, recipe=tray.recipe, curve=settings.growth.curve, watch=settings.growth.watch, clock=one.clock,
        cell_area_mm2=tray.record.layout.cell_area_mm2,
    )  # fmt: skip
    found = watch(off, tray=tray.record, settings=settings.growth.watch).alerts
    found = found[found["das"] > _das(one, today) + 1 - settings.growth.watch.tell_days]
    days = {
        name: np.array([day_text(sown(one), das) for das in found[name]], dtype=object) for name in ("das", "since_das")
    }
    return found[["what", "name", "below", "said"]].assign(
        tray=one.lined.name, date=days["das"], since=days["since_das"]
    )


def _forecast(one: Followed, told: Forecast, touch: Touching, *, today: date) -> dict[str, object]:
    row = told.tray.iloc[0]
    notes = [*told.said, touch.said] + ([str(row["note"])] if row["note"] else [])
    return {
        **_label(one, today),
        "plants": len(one.now),
        "ready_now": float(told.plants["ready_now"].sum()),
        **_ready_days(one, row),
        "touch_on": day_text(sown(one), touch.das),
        "late_risk": float(row["late_risk"]),
        "note": "; ".join(notes),
    }


def _ready_days(one: Followed, row: pd.Series[float]) -> dict[str, object]:
    names = {"ready_on": "ready_das", "ready_from": "ready_low_das", "ready_until": "ready_high_das",
             "late_on": "late_das"}  # fmt: skip
    return {name: day_text(sown(one), float(row[column])) for name, column in names.items()}


def _days(one: Followed, told: Forecast) -> pd.DataFrame:
    days = told.daily.drop(columns="das")
    return days.assign(tray=one.lined.name, crop=one.lined.crop[0], date=days["date"].dt.strftime("%Y-%m-%d"))


def _ready(one: Followed, told: Forecast, *, today: date, settings: Settings) -> pd.DataFrame:
    rows = [_ready_days(one, row) for _, row in told.plants.iterrows()]
    columns = {
        name: np.array([row[name] for row in rows], dtype=object)
        for name in ("ready_on", "ready_from", "ready_until", "late_on")
    }
    return told.plants[["ready_now", "note"]].assign(
        tray=one.lined.name,
        cell=one.now["cell"].to_numpy(),
        best_on=np.array(_best_on(one, told, today=today, settings=settings), dtype=object),
        **columns,
    )


def _best_on(one: Followed, told: Forecast, *, today: date, settings: Settings) -> list[str | None]:
    """Best day of each plant within the days told; None where the last of them is still better than those before."""
    tray = one.lined.tray
    days = _das(one, today) + np.arange(settings.growth.forecast.days + 1, dtype=float)
    worth = expected_worth(
        told.course, recipe=tray.recipe, das=days + NOON, cell_area_mm2=tray.record.layout.cell_area_mm2
    )
    best = best_days(worth, day_cost=settings.plan.day_cost)
    return [day_text(sown(one), days[k]) if k < len(days) - 1 else None for k in best]


def _joined(rows: Sequence[Mapping[str, object]], columns: Sequence[Column]) -> dict[str, list[object]]:
    return {column.name: [row[column.name] for row in rows] for column in columns}


def _stacked(parts: Sequence[pd.DataFrame], columns: Sequence[Column]) -> pd.DataFrame:
    """Tables of trays below one another; texts that say nothing are missing."""
    names = [column.name for column in columns]
    whole = pd.concat([part[names].astype(object) for part in parts]) if parts else pd.DataFrame(columns=names)
    texts = {column.name for column in columns if column.dtype == "string"}
    return as_table(
        {name: [None if name in texts and value == "" else value for value in whole[name].tolist()] for name in names},
        columns=columns,
    )
