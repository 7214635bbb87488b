"""Photo and hand together: which plants are ready now, what is stale or was never measured, how many plugs to pull."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.growth.events import WHOLE_TRAY
from canopy.growth.sample import plants_to_measure, sure_share
from canopy.measure.columns import Column, as_table
from canopy.outlook.farm import OF_TRAY
from canopy.outlook.follow import Lined, standing
from canopy.readiness import score_cells
from canopy.readiness.desirability import desirability
from canopy.reasons import REASONS
from canopy.records.recipe import MeasuredCriterion, SampleRule
from canopy.settings.readiness import ReadinessSettings

FloatArray = NDArray[np.float64]

NOW_COLUMNS = (
    Column("tray", "string", "", "Tray id."),
    Column("crop", "string", "", "Crop of its recipe."),
    Column("stage", "string", "", "Stage of its recipe."),
    Column("das", "int64", "d", "Days after sowing on the day of asking."),
    Column("plants", "int64", "", "Plants that stand in the tray."),
    Column("offered", "int64", "", "Plants to harvest or transplant now."),
    Column("inspect", "int64", "", "Plants to look at or measure first."),
    Column("wait", "int64", "", "Plants to leave."),
    Column("pull", "Int64", "", "Plugs still to pull and score; empty where none are asked for."),
    Column("said", "string", "", "What is missing, stale or held back."),
)
CELL_NOW_COLUMNS = (
    Column("tray", "string", "", "Tray id."),
    Column("cell", "string", "", "Cell."),
    Column("by_photo", "float64", "0–100", "Readiness by the photo alone."),
    Column("readiness", "float64", "0–100", "Readiness with what was measured; empty while something is missing."),
    Column("decision", "string", "", "`harvest`, `transplant`, `wait` or `inspect`."),
    Column("why", "string", "", "Why, in words."),
)
READY_NOW_COLUMNS: dict[str, tuple[Column, ...]] = {"now": NOW_COLUMNS, "cells": CELL_NOW_COLUMNS}


@dataclass(frozen=True)
class Judged:
    """One measurement held against its recipe.

    Attributes
    ----------
    value : (p,) float array
        Of each plant: its own, else the tray's; NaN where missing or stale.
    passes : (p,) bool array
        False where a gate holds the plant back.
    missing : str
        Why there is no value to rely on; empty when there is.
    pull : int
        Plugs still to be pulled.
    """

    value: FloatArray
    passes: NDArray[np.bool_]
    missing: str
    pull: int = 0


def ready_now(
    lined: Sequence[Lined], events: pd.DataFrame, measured: pd.DataFrame, *, today: date, settings: ReadinessSettings
) -> dict[str, pd.DataFrame]:
    """What is ready on the day of asking: `now` by tray, `cells` by plant."""
    rows, cells = [], []
    for one in lined:
        here = standing(one, events).reset_index(drop=True)
        if not len(here):
            continue
        own = measured[(measured["tray"] == one.name) & (measured["date"] <= pd.Timestamp(today))]
        row, part = _one_tray(one, here, own, today=today, settings=settings)
        rows.append(row)
        cells.append(part)
    whole = pd.concat(cells) if cells else pd.DataFrame(columns=[column.name for column in CELL_NOW_COLUMNS])
    return {
        "now": as_table({c.name: [row[c.name] for row in rows] for c in NOW_COLUMNS}, columns=NOW_COLUMNS),
        "cells": as_table({c.name: whole[c.name].tolist() for c in CELL_NOW_COLUMNS}, columns=CELL_NOW_COLUMNS),
    }


def _one_tray(
    one: Lined, here: pd.DataFrame, measured: pd.DataFrame, *, today: date, settings: ReadinessSettings
) -> tuple[dict[str, object], pd.DataFrame]:
    recipe = one.tray.recipe
    photo = _by_photo(one, here, settings=settings)
    judged = [judge(c, here, measured, sample=recipe.sample, today=today) for c in recipe.measured]
    readiness = _with_measured(photo["readiness"].to_numpy(dtype=float), one, judged)
    decision = photo["decision"].astype(str).to_numpy(dtype=object).copy()
    words = [[] if pd.isna(text) else [str(text)] for text in photo["reason"]]
    # What was measured may also lift a plant that the photo alone held back, never one that a gate holds.
    offered = decision == recipe.ready_decision
    decision[offered & (readiness < settings.ready_score)] = "wait"
    for criterion, found in zip(recipe.measured, judged, strict=True):
        held = offered & ~found.passes
        decision[held] = "wait"
        for i in np.flatnonzero(held):
            words[i].append(f"{criterion.name} {found.value[i]:g} {_beyond(criterion, found.value[i])}")
        if found.missing:
            decision[offered] = "inspect"
            for i in np.flatnonzero(offered):
                words[i].append(found.missing)
    cells = pd.DataFrame(
        {"tray": one.name, "cell": here["cell"].to_numpy(), "by_photo": photo["readiness"].to_numpy(dtype=float),
         "readiness": readiness, "decision": decision, "why": ["; ".join(w) or None for w in words]}
    )  # fmt: skip
    said = [f.missing for f in judged if f.missing]
    pull = max((f.pull for f in judged), default=0) if any(c.sampled for c in recipe.measured) else None
    assert one.tray.record.sown_on is not None
    row = {
        "tray": one.name, "crop": recipe.crop, "stage": recipe.stage,
        "das": (today - one.tray.record.sown_on).days, "plants": len(here),
        "offered": int((decision == recipe.ready_decision).sum()), "inspect": int((decision == "inspect").sum()),
        "wait": int((decision == "wait").sum()), "pull": pull, "said": "; ".join(said) or None,
    }  # fmt: skip
    return row, cells


def _by_photo(one: Lined, here: pd.DataFrame, *, settings: ReadinessSettings) -> pd.DataFrame:
    """The plants scored by their photo alone, the recipe's wish for measurements left out."""
    record = one.tray.record
    taken = pd.to_datetime(here["taken_at"].astype(str).str.slice(0, 19), errors="coerce", format="ISO8601").max()
    scored = score_cells(
        here.assign(reason=here["reason"].map(_doubt_of)),
        one.tray.recipe.model_copy(update={"measured": ()}),
        taken_at=None if pd.isna(taken) else datetime.fromisoformat(taken.isoformat()),
        sown_on=record.sown_on,
        treatments=record.treatments,
        colour_withheld=bool(here["yellow_fraction"].isna().all()),
        settings=settings,
    )
    return scored.cells


def _doubt_of(reason: object) -> str | None:
    """The doubt that a cell came with from its photo; what the score said of it is said anew."""
    first = reason.split("; ")[0] if isinstance(reason, str) else ""
    return first if first.split(":")[0].strip() in REASONS or "dead" in first else None


def judge(
    criterion: MeasuredCriterion, here: pd.DataFrame, measured: pd.DataFrame, *, sample: SampleRule | None, today: date
) -> Judged:
    """Hold one measurement against its recipe; stale and missing values are never taken as good.

    Parameters
    ----------
    criterion : MeasuredCriterion
    here : pandas.DataFrame
        The plants: `cell`, and the columns of the tray's photo.
    measured : pandas.DataFrame
        Values of the tray up to the day of asking, as `check_measured` gives them.
    sample : SampleRule or None
    today : date
    """
    if criterion.name in OF_TRAY:
        day = pd.to_datetime(here["taken_at"].astype(str).str.slice(0, 10), errors="coerce", format="ISO8601")
        values = pd.DataFrame({"cell": WHOLE_TRAY, "date": day, "value": here[f"tray_{criterion.name}"]})
    else:
        values = measured[measured["name"] == criterion.name][["cell", "date", "value"]]
    values = values.dropna().sort_values("date", kind="stable")
    fresh = values[values["date"] >= pd.Timestamp(today) - pd.Timedelta(days=criterion.max_age_days)]
    none = np.full(len(here), np.nan)
    if criterion.sampled:
        return _sampled(criterion, here, values, fresh, sample=sample, today=today)
    if not len(fresh):
        return Judged(none, np.ones(len(here), dtype=bool), _lost(criterion, values, today))
    whole = fresh[fresh["cell"] == WHOLE_TRAY]
    own = fresh.drop_duplicates("cell", keep="last").set_index("cell")["value"]
    value = here["cell"].map(own).to_numpy(dtype=float)
    if len(whole):
        value = np.where(np.isnan(value), float(whole["value"].iloc[-1]), value)
    lost = (
        f"{criterion.name}: not measured for {np.isnan(value).sum()} plants; measure them"
        if np.isnan(value).any()
        else ""
    )
    return Judged(value, np.isnan(value) | _within(criterion, value), lost)


def _sampled(
    criterion: MeasuredCriterion,
    here: pd.DataFrame,
    values: pd.DataFrame,
    fresh: pd.DataFrame,
    *,
    sample: SampleRule | None,
    today: date,
) -> Judged:
    """Plants of a sample speak for the tray: enough of them, and enough that pass."""
    assert sample is not None  # the recipe's own check
    passed = _within(criterion, fresh["value"].to_numpy(dtype=float))
    failed = int((~passed).sum())
    needed = plants_to_measure(failed, share=sample.share, confidence=sample.confidence, most=len(here) + len(fresh))
    shown = sure_share(int(passed.sum()), failed, confidence=sample.confidence) >= sample.share - 1e-12
    value = np.full(len(here), float(fresh["value"].mean()) if len(fresh) and shown else np.nan)
    everywhere = np.ones(len(here), dtype=bool)
    if shown:
        return Judged(value, everywhere, "")
    pull = (needed or len(here) + len(fresh)) - len(fresh)
    if failed:
        said = (
            f"{criterion.name}: {failed} of {len(fresh)} pulled plugs fail; wait, or pull {pull} more that all pass to "
            f"show that {100 * sample.share:.0f} % do"
        )
    elif len(fresh):
        said = f"{criterion.name}: {len(fresh)} plugs pass; pull {pull} more"
    else:
        said = f"{_lost(criterion, values, today)}: pull {pull} plugs"
    return Judged(value, everywhere, said, pull)


def _lost(criterion: MeasuredCriterion, values: pd.DataFrame, today: date) -> str:
    if not len(values):
        return f"{criterion.name} was not measured"
    days = (pd.Timestamp(today) - values["date"].iloc[-1]).days
    return f"{criterion.name} was measured {days} days ago, limit {criterion.max_age_days}; measure again"


def _within(criterion: MeasuredCriterion, value: FloatArray) -> NDArray[np.bool_]:
    least = -np.inf if criterion.least is None else criterion.least
    most = np.inf if criterion.most is None else criterion.most
    return np.asarray((value >= least) & (value <= most))


def _beyond(criterion: MeasuredCriterion, value: float) -> str:
    if criterion.least is not None and value < criterion.least:
        return f"below {criterion.least:g}"
    return f"above {criterion.most:g}"


def _with_measured(photo: FloatArray, one: Lined, judged: Sequence[Judged]) -> FloatArray:
    """Readiness with what was measured: 100 · Π d^(w/Σw), the photo's score with all its criteria's weights."""
    recipe = one.tray.recipe
    weights = [sum(named.criterion.weight for named in recipe.criteria), *(c.weight for c in recipe.measured)]
    logs = [photo / 100.0, *(desirability(f.value, c) for c, f in zip(recipe.measured, judged, strict=True))]
    used = [(w, d) for w, d in zip(weights, logs, strict=True) if w > 0]
    total = sum(w for w, _ in used)
    return np.asarray(100.0 * np.prod([np.asarray(d, dtype=float) ** (w / total) for w, d in used], axis=0))
