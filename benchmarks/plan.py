"""How long a farm's plan takes and how far it may be from the best.

Trays are drawn to become ready over some days, with orders for a share of their plants.

OMP_NUM_THREADS=1 python -m benchmarks.plan                        # 500 trays x 72 cells x 7 days, 20 orders
OMP_NUM_THREADS=1 python -m benchmarks.plan --trays 20 --compare   # beside the plan cell by cell
"""

from __future__ import annotations

import argparse
import time
from datetime import date

import numpy as np
import pandas as pd

from canopy.plan import Supply, check_orders, plan_cuts
from canopy.settings.plan import PlanSettings

TODAY = date(2026, 6, 1)
CROPS = ("basil", "butterhead", "kale")
GRAMS = 60.0


def draw_supply(trays: int, cells: int, days: int, seed: int) -> Supply:
    """Trays of three crops that become ready over 18 days; plants spread by 1.2 days and 15 % in grams."""
    rng = np.random.default_rng(seed)
    tray = np.repeat(np.arange(trays), cells)
    ready = rng.uniform(-6, 12, trays)[tray] + rng.normal(0, 1.2, len(tray))
    day = np.arange(days)
    grams = GRAMS * np.exp(rng.normal(0, 0.15, len(tray)))[:, None] * np.exp(0.08 * day)
    return Supply(
        np.array([f"T{t:04}" for t in tray]),
        np.array([f"A{k % cells + 1}" for k in range(len(tray))]),
        np.array(CROPS)[tray % len(CROPS)],
        pd.date_range(TODAY, periods=days),
        1 / (1 + np.exp(-2 * (day - ready[:, None]))),
        grams,
        500 * grams,
        1 / (1 + np.exp(-(ready + 9 - days))),
        np.ones((len(tray), days), dtype=bool),
    )


def draw_orders(supply: Supply, count: int, share: float, seed: int) -> pd.DataFrame:
    """Orders over all days, seven of ten by heads, for a share of the plants together."""
    rng = np.random.default_rng(seed)
    rows = []
    for k in range(count):
        heads = int(len(supply) * share / count * rng.uniform(0.5, 1.5))
        by_heads = rng.random() < 0.7
        due = str(supply.days[rng.integers(len(supply.days))].date())
        rows.append((CROPS[k % len(CROPS)], due, heads if by_heads else "", "" if by_heads else GRAMS * heads))
    return check_orders(pd.DataFrame(rows, columns=["crop", "due", "heads", "grams"]), crops=CROPS, today=TODAY)[0]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name, default in (("trays", 500), ("cells", 72), ("days", 7), ("orders", 20), ("seed", 1)):
        parser.add_argument(f"--{name}", type=int, default=default)
    parser.add_argument("--share", type=float, default=0.6, help="plants ordered, as a share of all")
    parser.add_argument("--compare", action="store_true", help="also plan cell by cell")
    arguments = parser.parse_args()
    supply = draw_supply(arguments.trays, arguments.cells, arguments.days, arguments.seed)
    orders = draw_orders(supply, arguments.orders, arguments.share, arguments.seed)
    # Hours for about as many plants as are ordered.
    hours = len(supply) * arguments.share / arguments.days / PlanSettings().cells_per_hour
    values = {}
    for whole_tray in (False, True):
        settings = PlanSettings(hours_per_day=hours, whole_tray=whole_tray)
        ways = {"like cells together": (settings, True)}
        if arguments.compare:
            exact = {"exact_columns": 10**6, "time_limit_s": 300.0, "gap": 0.001}
            ways["cell by cell"] = (settings.model_copy(update=exact), False)
        for way, (chosen, aggregate) in ways.items():
            start = time.perf_counter()
            plan = plan_cuts(supply, orders, settings=chosen, aggregate=aggregate)
            took = time.perf_counter() - start
            values[way] = plan.value
            print(
                f"{'whole trays' if whole_tray else 'plant by plant'}, {way}: {took:.1f} s, {len(plan.cuts)} cuts, "
                f"value {plan.value:.0f}, gap {100 * plan.gap:.2f} %, {(plan.orders['short'] > 0).sum()} orders short"
            )
        if arguments.compare:
            lost = 1 - values["like cells together"] / values["cell by cell"]
            print(f"like cells together lose {100 * lost:.2f} %")


if __name__ == "__main__":
    main()
