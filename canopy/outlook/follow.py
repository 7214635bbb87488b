"""Each tray of a farm followed up to a day: which plants stand in it now, their curves, and weights of their crop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.growth import (
    PLAIN_DAYS,
    Clock,
    Complaint,
    History,
    TrayCurves,
    WeightModel,
    growth_curves,
    learn_weight,
    line_up,
    match_weigh_ins,
    thermal_clock,
)
from canopy.growth.events import NEW_CURVE, NEW_PLANT
from canopy.outlook.farm import Farm, FarmTray
from canopy.records.text import TEXT_TYPE

Crop = tuple[str, str]


@dataclass(frozen=True)
class Lined:
    """A tray with its readings lined up.

    Attributes
    ----------
    tray : FarmTray
    history : History
        Up to the day of asking.
    """

    tray: FarmTray
    history: History

    @property
    def name(self) -> str:
        """The tray's id."""
        return self.tray.record.tray

    @property
    def crop(self) -> Crop:
        """Crop and stage."""
        return self.tray.recipe.crop, self.tray.recipe.stage


@dataclass(frozen=True)
class Followed:
    """A tray with plants in it.

    Attributes
    ----------
    lined : Lined
    now : pandas.DataFrame
        The last reading of each plant that stands in the tray.
    readings : pandas.DataFrame
        All readings of these plants since their curves began, as `growth_curves` takes them.
    curves : TrayCurves
    clock : Clock
    """

    lined: Lined
    now: pd.DataFrame
    readings: pd.DataFrame
    curves: TrayCurves
    clock: Clock


def line_up_trays(farm: Farm, trays: Sequence[FarmTray], *, today: date) -> tuple[list[Lined], list[Complaint]]:
    """Line up the readings of trays, later ones than the day of asking left out."""
    lined: list[Lined] = []
    complaints: list[Complaint] = []
    until = (pd.Timestamp(today) + pd.Timedelta(days=1)).isoformat()
    for tray in trays:
        so_far = tray.cells[tray.cells["taken_at"].fillna("").astype(str) < until]
        history = line_up(so_far, tray=tray.record, settings=farm.settings.growth.history, events=farm.events)
        complaints += history.complaints
        lined.append(Lined(tray, history))
    return lined, complaints


def weights_by_crop(farm: Farm, *, today: date) -> tuple[dict[Crop, WeightModel | None], list[Complaint]]:
    """The weight curve of each crop and stage, from all weigh-ins up to the day of asking."""
    settings = farm.settings.growth.weight
    weigh_ins = farm.weigh_ins[farm.weigh_ins["date"] <= pd.Timestamp(today)]
    weighed_trays = [tray for name, tray in farm.trays.items() if name in set(weigh_ins["tray"])]
    lined, complaints = line_up_trays(farm, weighed_trays, today=today)
    histories = {one.name: one.history.table for one in lined}
    models: dict[Crop, WeightModel | None] = {}
    for tray in farm.trays.values():
        crop = (tray.recipe.crop, tray.recipe.stage)
        if crop in models:
            continue
        same = {name for name, t in farm.trays.items() if (t.recipe.crop, t.recipe.stage) == crop}
        own = weigh_ins[weigh_ins["tray"].isin(same)]
        weighed, wrong = match_weigh_ins(own, histories, trays=farm.records, settings=settings)
        complaints += wrong
        models[crop] = learn_weight(weighed, recipe=tray.recipe, settings=settings)
    return models, complaints


def follow(lined: Lined, *, farm: Farm) -> Followed | str:
    """Fit the curves of the plants that stand in a tray; a sentence when there is none."""
    record = lined.tray.record
    here = standing(lined, farm.events)
    if not len(here):
        return f"{lined.name}: no plant stands in it by its last photo and the events noted since"
    readings = lined.history.curves()
    readings = readings[readings["plant"].isin(here["curve"])]
    clock = _clock(farm, lined)
    curves = growth_curves(
        readings,
        recipe=lined.tray.recipe,
        settings=farm.settings.growth.curve,
        clock=clock,
        cell_area_mm2=record.layout.cell_area_mm2,
    )
    here = here.set_index("curve", drop=False).loc[list(curves.plants)].reset_index(drop=True)
    return Followed(lined, here, readings, curves, clock)


def standing(lined: Lined, events: pd.DataFrame) -> pd.DataFrame:
    """The last reading of each plant that stands in a tray by its photos and the events noted since."""
    table = lined.history.table
    last = table[table["state"].notna()].drop_duplicates("cell", keep="last")
    there = last["state"].eq("planted").to_numpy(dtype=bool) & (last["area_mm2"].to_numpy(dtype=float) > 0)
    return pd.DataFrame(last[there & ~_gone(last, events, lined)])


def _clock(farm: Farm, lined: Lined) -> Clock:
    if farm.temperatures is None:
        return PLAIN_DAYS
    sown_on = lined.tray.record.sown_on
    assert sown_on is not None
    return thermal_clock(farm.temperatures, sown_on=pd.Timestamp(sown_on), settings=farm.settings.growth.clock)[0]


def _gone(last: pd.DataFrame, events: pd.DataFrame, lined: Lined) -> NDArray[np.bool_]:
    """Plants cut, moved or replaced since their last reading."""
    own = events[events["tray"] == lined.name]
    if not len(own):
        return np.zeros(len(last), dtype=bool)
    until = pd.to_datetime(last["taken_at"].astype(TEXT_TYPE).str.slice(0, 10), errors="coerce", format="ISO8601")
    begun = _plants_begun(last)
    gone = []
    for cell, day, number in zip(last["cell"], until, begun, strict=True):
        notes = own[own["cell"] == cell]
        later = notes["event"].isin((*NEW_PLANT, *NEW_CURVE)) & (notes["date"] > day)
        # Of the day of the photo itself: after it, unless the photo already shows the next plant.
        counted = int((notes["event"].isin(NEW_PLANT) & (notes["date"] <= day)).sum())
        gone.append(bool(later.any()) or counted > number)
    return np.array(gone, dtype=bool)


def _plants_begun(last: pd.DataFrame) -> list[int]:
    """How many plants stood in each cell before its present one: `B4/3` is the third."""
    return [int(name.partition("/")[2] or 1) - 1 for name in last["plant"].astype(str)]


def followed_trays(
    farm: Farm, *, tray: str | None, today: date
) -> tuple[list[Followed], Mapping[Crop, WeightModel | None], tuple[Complaint, ...], tuple[str, ...]]:
    """Trays of a farm, or one, followed up to a day.

    Returns
    -------
    followed : list of Followed
    weights : mapping of crop and stage to WeightModel or None
    complaints : tuple of Complaint
        Of all tables, each once.
    said : tuple of str
        Trays left out; what was done or doubted while lining up.
    """
    lined, wrong = line_up_trays(farm, farm.only(tray), today=today)
    models, unmatched = weights_by_crop(farm, today=today)
    found, said = [], list(farm.said) if tray is None else []
    for one in lined:
        said += [f"{one.name}: {remark}" for remark in one.history.remarks]
        outcome = follow(one, farm=farm)
        if isinstance(outcome, str):
            said.append(outcome)
        else:
            found.append(outcome)
    complaints = dict.fromkeys([*farm.complaints, *wrong, *unmatched])
    return found, models, tuple(complaints), tuple(said)
