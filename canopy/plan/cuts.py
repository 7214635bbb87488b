"""Which cells to cut on which day for which order, orders that fall short said first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.plan.groups import Groups, group_cells
from canopy.plan.program import Solved, Wanted, solve
from canopy.plan.supply import Supply
from canopy.records.text import TEXT_TYPE, Dtypes
from canopy.settings.plan import PlanSettings

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

CUT_DTYPES: Dtypes = {
    "date": TEXT_TYPE, "tray": TEXT_TYPE, "cell": TEXT_TYPE, "crop": TEXT_TYPE, "order": TEXT_TYPE, "sure": "float64",
    "grams": "float64", "area_mm2": "float64",
}  # fmt: skip
ORDER_DTYPES: Dtypes = {
    "order": TEXT_TYPE, "crop": TEXT_TYPE, "due": TEXT_TYPE, "unit": TEXT_TYPE, "wanted": "float64",
    "planned": "float64", "short": "float64", "said": TEXT_TYPE,
}  # fmt: skip


@dataclass(frozen=True)
class Plan:
    """What to cut.

    Attributes
    ----------
    cuts : pandas.DataFrame
        `CUT_DTYPES`, by date, tray and cell; `order` is missing for plants that are cut with their tray for nobody.
    orders : pandas.DataFrame
        `ORDER_DTYPES`, those that fall short first: `planned` is the nearest amount that can be had beside the others.
    value : float
        Value of the orders met and of the plants left, less what shortage, leftovers and age cost; in values of a
        plant, or in the currency of the orders' `value`.
    gap : float
        Worth by which a better plan may exist, as a share of that of all orders and of the plants left; infinite when
        no plan was found in time.
    said : tuple of str
        Sentences: short orders first.
    """

    cuts: pd.DataFrame
    orders: pd.DataFrame
    value: float
    gap: float
    said: tuple[str, ...]


def plan_cuts(supply: Supply, orders: pd.DataFrame, *, settings: PlanSettings, aggregate: bool = True) -> Plan:
    """Plan the cuts of a farm.

    Parameters
    ----------
    supply : Supply
    orders : pandas.DataFrame
        As `check_orders` gives them; those due after the last day are left for later and said.
    settings : PlanSettings
    aggregate : bool
        False: every cell on its own, slow; to compare with.

    Returns
    -------
    Plan
    """
    within = orders["due"] <= supply.days[-1]
    now = orders[within].reset_index(drop=True)
    if not len(now):
        said = _later_words(orders[~within], supply)
        return Plan(_cuts(supply, now, []), _order_table(now, supply, []), 0.0, 0.0, (*said, "no order to plan for"))
    _, tray = np.unique(supply.tray, return_inverse=True)
    may = _may(supply, now, settings=settings)
    wanted = _wanted(supply, now)
    groups = group_cells(supply, tray, may, _later(supply), settings=settings if aggregate else None)
    solved = solve(groups, wanted, settings=settings)
    chosen = _cells_of(solved, groups, supply)
    table = _order_table(now, supply, chosen)
    said = [*_short_words(table), *_later_words(orders[~within], supply), _gap_words(solved)]
    value = _value(supply, wanted, chosen, settings=settings)
    return Plan(_cuts(supply, now, chosen), table, value, solved.gap, tuple(said))


Choice = tuple[int, int, int]
"""Cell, day, order (−1: for nobody)."""


def _may(supply: Supply, orders: pd.DataFrame, *, settings: PlanSettings) -> BoolArray:
    """(c, n, o) whether a cell may be cut on a day for an order."""
    ready = supply.open & (supply.sure >= settings.sure)
    day = np.arange(len(supply.days))
    due = _day_numbers(orders, supply)
    in_time = (day[:, None] <= due) & (day[:, None] >= due - settings.keep_days)
    may = ready[:, :, None] & in_time[None]
    may &= supply.crop[:, None, None] == orders["crop"].to_numpy(dtype=str)
    for low, high, values in (("min_g", "max_g", supply.grams), ("min_mm2", "max_mm2", supply.area_mm2)):
        for name, sign in ((low, 1.0), (high, -1.0)):
            bound = orders[name].to_numpy(dtype=float)
            with np.errstate(invalid="ignore"):
                may &= np.isnan(bound) | (sign * values[:, :, None] >= sign * bound)
    in_grams = (orders["unit"] == "grams").to_numpy(dtype=bool)
    return np.asarray(may & (~in_grams | np.isfinite(supply.grams)[:, :, None]))


def _day_numbers(orders: pd.DataFrame, supply: Supply) -> NDArray[np.int64]:
    return np.asarray((orders["due"] - supply.days[0]).dt.days, dtype=np.int64)


def _later(supply: Supply) -> FloatArray:
    """Worth of a plant left alone: not too late by then, and more so when it still gains."""
    gain = supply.area_mm2[:, -1] / supply.area_mm2[:, 0] if len(supply) else np.zeros(0)
    return np.asarray(supply.later * gain / max(float(np.mean(gain)), 1e-9)) if len(supply) else gain


def _wanted(supply: Supply, orders: pd.DataFrame) -> Wanted:
    in_grams = (orders["unit"] == "grams").to_numpy(dtype=bool)
    amount = orders["wanted"].to_numpy(dtype=float)
    head = np.array([_typical_grams(supply, crop) for crop in orders["crop"]])
    heads = np.where(in_grams, amount / head, amount)
    value = orders["value"].to_numpy(dtype=float)
    priced = np.isfinite(value)
    plant = float(np.median(value[priced] / heads[priced])) if priced.any() else 1.0
    worth = np.where(priced, value, heads * plant) / amount
    return Wanted(amount, in_grams, worth, _day_numbers(orders, supply), plant)


def _typical_grams(supply: Supply, crop: str) -> float:
    """Median expected grams of a crop's plants; 1 g where no weight is known, then nothing can be promised anyway."""
    grams = supply.grams[(supply.crop == crop)]
    grams = grams[np.isfinite(grams)]
    return float(np.median(grams)) if len(grams) else 1.0


def _cells_of(solved: Solved, groups: Groups, supply: Supply) -> list[Choice]:
    """Cells of the groups' numbers: those most sure first, of equals the larger."""
    members: dict[int, list[int]] = {}
    order = np.lexsort((np.arange(len(supply)), -supply.area_mm2[:, 0], -supply.sure.mean(axis=1)))
    for cell in order:
        members.setdefault(int(groups.of[cell]), []).append(int(cell))
    chosen: list[Choice] = []
    # Earlier days take first: who is most sure now is cut now.
    for k in np.lexsort((solved.order, solved.day, solved.group)):
        group, day, number = int(solved.group[k]), int(solved.day[k]), int(solved.order[k])
        taken, members[group] = members[group][: solved.count[k]], members[group][solved.count[k] :]
        chosen += [(cell, day, number) for cell in taken]
    return chosen


def _value(supply: Supply, wanted: Wanted, chosen: list[Choice], *, settings: PlanSettings) -> float:
    """Value of the cells chosen, each by its own numbers."""
    cell, day, order = (np.array([c[k] for c in chosen], dtype=np.int64) for k in range(3))
    sold = order >= 0
    amount = np.where(wanted.in_grams[order], np.nan_to_num(supply.grams[cell, day]), 1.0)
    got = np.bincount(order[sold], weights=amount[sold], minlength=len(wanted.amount))
    short, excess = np.maximum(wanted.amount - got, 0.0), np.maximum(got - wanted.amount, 0.0)
    met = np.minimum(got, wanted.amount) - settings.short_weight * short - settings.leftover_weight * excess
    left = np.ones(len(supply), dtype=bool)
    left[cell] = False
    opened = len(set(zip(supply.tray[cell].tolist(), day.tolist(), strict=True)))
    early = float((wanted.due[order[sold]] - day[sold]).sum())
    plants = settings.later * float(_later(supply)[left].sum()) - settings.leftover_weight * float((~sold).sum())
    return float(met @ wanted.worth) + wanted.plant_worth * (plants - settings.fresh * (early + opened))


def _cuts(supply: Supply, orders: pd.DataFrame, chosen: list[Choice]) -> pd.DataFrame:
    cell, day, order = (np.array([c[k] for c in chosen], dtype=np.int64) for k in range(3))
    names = orders["order"].tolist()
    columns = {
        "date": supply.days[day].strftime("%Y-%m-%d").to_numpy(dtype=object),
        "tray": supply.tray[cell],
        "cell": supply.cell[cell],
        "crop": supply.crop[cell],
        "order": np.array([names[o] if o >= 0 else None for o in order], dtype=object),
        "sure": supply.sure[cell, day],
        "grams": supply.grams[cell, day],
        "area_mm2": supply.area_mm2[cell, day],
    }
    table = pd.DataFrame(columns, columns=list(CUT_DTYPES)).astype(CUT_DTYPES)
    rank = np.lexsort((cell, table["tray"].to_numpy(dtype=str), day))
    return table.iloc[rank].reset_index(drop=True)


def _order_table(orders: pd.DataFrame, supply: Supply, chosen: list[Choice]) -> pd.DataFrame:
    got = np.zeros(len(orders))
    in_grams = (orders["unit"] == "grams").to_numpy(dtype=bool)
    for cell, day, order in chosen:
        if order >= 0:
            got[order] += supply.grams[cell, day] if in_grams[order] else 1.0
    wanted = orders["wanted"].to_numpy(dtype=float)
    # Rounding of grams is no shortage.
    short = np.where(wanted - got > 1e-6 * wanted, wanted - got, 0.0)
    why = [_why_short(supply, row, lacks) for (_, row), lacks in zip(orders.iterrows(), short, strict=True)]
    columns = {
        "order": orders["order"], "crop": orders["crop"], "due": orders["due"].dt.strftime("%Y-%m-%d"),
        "unit": orders["unit"], "wanted": wanted, "planned": got, "short": short, "said": why,
    }  # fmt: skip
    table = pd.DataFrame(columns, columns=list(ORDER_DTYPES)).astype(ORDER_DTYPES)
    return table.iloc[np.lexsort((np.arange(len(table)), short <= 0))].reset_index(drop=True)


def _why_short(supply: Supply, order: pd.Series[float], lacks: float) -> str:
    if lacks <= 0:
        return ""
    own = supply.crop == str(order["crop"])
    if not own.any():
        return "no plant of this crop stands in the trays"
    if str(order["unit"]) == "grams" and not np.isfinite(supply.grams[own]).any():
        return "grams are not known for this crop: weigh some plants, or order heads"
    return "too few plants are ready by then, of this size, or free of other orders, within the hours"


def _short_words(table: pd.DataFrame) -> list[str]:
    return [
        f"order {row['order']} falls short: {_amount(row['planned'], row['unit'])} of "
        f"{_amount(row['wanted'], row['unit'])} of {row['crop']} by {row['due']} ({row['said']})"
        for row in table[table["short"] > 0].to_dict("records")
    ]


def _amount(number: float, unit: str) -> str:
    return f"{number:.0f} {'g' if unit == 'grams' else unit}"


def _later_words(orders: pd.DataFrame, supply: Supply) -> list[str]:
    last = supply.days[-1].date()
    return [f"order {row.order}: due {str(row.due)[:10]}, after {last}; planned later" for row in orders.itertuples()]


def _gap_words(solved: Solved) -> str:
    if np.isinf(solved.gap):
        return "no plan was found in time; raise `time_limit_s` under [plan]"
    return f"no other plan is better by more than {100 * solved.gap:.2f} % of all that could be earned"
