"""From followed trays and the orders file to a plan: what each tray can give, gates held, and the plan's tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.errors import UsageError
from canopy.growth import Complaint, WeightModel
from canopy.measure.columns import Column, as_table
from canopy.outlook.follow import Crop, Followed
from canopy.outlook.tables import forecast_of, sown
from canopy.outlook.typed_tables import find_typed, read_typed
from canopy.plan import Plan, Supply, check_orders, plan_cuts, supply_of
from canopy.plan.supply import joined
from canopy.records import TrayRecord
from canopy.settings import Settings

ORDERS = "orders"
CUT_COLUMNS = (
    Column("date", "string", "", "Day of the cut."),
    Column("tray", "string", "", "Tray id."),
    Column("cell", "string", "", "Cell to cut."),
    Column("crop", "string", "", "Crop of its recipe."),
    Column("order", "string", "", "Order it is cut for; empty: cut with its tray, for nobody."),
    Column("sure", "float64", "1", "Probability that the plant is ready and not too late on that day."),
    Column("grams", "float64", "g", "Expected fresh weight."),
    Column("area_mm2", "float64", "mm²", "Expected area."),
)
FILLED_COLUMNS = (
    Column("order", "string", "", "Name of the order, or its line."),
    Column("crop", "string", "", "Crop."),
    Column("due", "string", "", "Day it is due."),
    Column("unit", "string", "", "`heads` or `grams`."),
    Column("wanted", "float64", "", "Amount ordered."),
    Column("planned", "float64", "", "Amount planned: the nearest that can be had beside the other orders."),
    Column("short", "float64", "", "What is missing."),
    Column("said", "string", "", "Why it is missing."),
)
PLAN_COLUMNS: dict[str, tuple[Column, ...]] = {"cuts": CUT_COLUMNS, "filled": FILLED_COLUMNS}


def read_orders(
    folder: Path, given: Path | None, *, crops: set[str], today: date
) -> tuple[pd.DataFrame, tuple[Complaint, ...]]:
    """Orders of the given file, else of `orders.csv` or `orders.xlsx` in a folder.

    Raises
    ------
    UsageError
        There is none, or it cannot be read.
    """
    typed = read_typed(given, days=("due",)) if given is not None else find_typed(folder, ORDERS, days=("due",))
    if typed is None:
        raise UsageError(
            f"{folder / ORDERS}.csv: no such table; write one (crop, due, heads), or name it with --orders"
        )
    good, complaints = check_orders(typed.table, crops=crops, today=today)
    return good, (*typed.complaints, *complaints)


def farm_supply(
    followed: Sequence[Followed], weights: Mapping[Crop, WeightModel | None], *, today: date, settings: Settings
) -> tuple[Supply, list[str]]:
    """What all trays can give on the planned days, and what is held back."""
    days = pd.date_range(today, periods=settings.plan.days)
    parts, said = [], []
    for one in followed:
        weight = weights[one.lined.crop]
        told = forecast_of(one, weight, today=today, settings=settings)
        open_cells, words = open_days(one, days)
        said += words
        parts.append(
            supply_of(
                told.course, tray=one.lined.name, crop=one.lined.crop[0], cells=one.now["cell"].tolist(),
                first_das=(today - sown(one)).days, days=days, weight=weight, open_cells=open_cells,
            )
        )  # fmt: skip
    return joined(parts, days=days), said


def open_days(one: Followed, days: pd.DatetimeIndex) -> tuple[NDArray[np.bool_], list[str]]:
    """(p, n) where no gate forbids the cut: no look needed first, no damage past the limit, no waiting time."""
    now, recipe = one.now, one.lined.tray.recipe
    damage = now["yellow_fraction"].to_numpy(float) + now["brown_fraction"].to_numpy(float)
    with np.errstate(invalid="ignore"):
        looked_at = now["decision"].eq("inspect").fillna(False).to_numpy(dtype=bool) | (
            damage > recipe.gates.damage_limit
        )
    said = []
    if looked_at.any():
        plants = ", ".join(now["cell"][looked_at].head(_NAMED)) + (", …" if looked_at.sum() > _NAMED else "")
        said.append(f"{one.lined.name}: {looked_at.sum()} plants are to be inspected first and not planned ({plants})")
    free = free_on(one.lined.tray.record)
    late = days < pd.Timestamp(free) if free is not None else np.zeros(len(days), dtype=bool)
    if late.any():
        said.append(f"{one.lined.name}: not before {free}, waiting time after a treatment; follow the product label")
    return ~looked_at[:, None] & ~np.asarray(late)[None, :], said


_NAMED = 5


def free_on(record: TrayRecord) -> date | None:
    """First day after all waiting times; None without any."""
    ends = [t.applied_on + timedelta(days=t.interval_days) for t in record.treatments if t.interval_days]
    return max(ends, default=None)


def plan_farm(
    followed: Sequence[Followed],
    weights: Mapping[Crop, WeightModel | None],
    orders: pd.DataFrame,
    *,
    today: date,
    settings: Settings,
) -> tuple[Plan, tuple[str, ...]]:
    """Plan a farm's cuts; sentences: short orders first, then what was held back."""
    supply, held = farm_supply(followed, weights, today=today, settings=settings)
    plan = plan_cuts(supply, orders, settings=settings.plan)
    return plan, (*plan.said, *held)


def plan_tables(plan: Plan) -> dict[str, pd.DataFrame]:
    """`cuts` and `filled`: which cells, and how far each order is met."""
    return {"cuts": _columns_of(plan.cuts, CUT_COLUMNS), "filled": _columns_of(plan.orders, FILLED_COLUMNS)}


def _columns_of(table: pd.DataFrame, columns: Sequence[Column]) -> pd.DataFrame:
    return as_table({column.name: table[column.name].tolist() for column in columns}, columns=columns)


def cuts_by_tray(plan: Plan) -> pd.DataFrame:
    """How many cells of which tray on which day for which order: the table for the screen."""
    filled = plan.cuts.assign(order=plan.cuts["order"].fillna("nobody"))
    grouped = filled.groupby(["date", "tray", "crop", "order"], sort=True, as_index=False)
    return grouped.agg(plants=("cell", "size"), grams=("grams", _whole_sum), cells=("cell", " ".join))


def _whole_sum(grams: pd.Series[float]) -> float:
    """A sum that is missing when one of its parts is."""
    return float(grams.sum(skipna=False))
