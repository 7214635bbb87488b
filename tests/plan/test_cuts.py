"""What to cut: small cases by hand, published optima, a whole farm within its time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from canopy.plan import CUT_DTYPES, ORDER_DTYPES, plan_cuts
from canopy.settings.plan import PlanSettings

from .drawing import PLAIN, farm, farm_orders, orders, supply


def test_an_order_is_met_with_ready_plants_by_its_day():
    have = supply({"T1": ("cos", 4), "T2": ("basil", 4)})
    have.sure[0] = 0.5  # A1 is not sure enough
    plan = plan_cuts(have, orders(("cos", "2026-06-02", 3, "")), settings=PlanSettings())
    assert plan.cuts.dtypes.astype(str).to_dict() == CUT_DTYPES
    assert plan.orders.dtypes.astype(str).to_dict() == ORDER_DTYPES
    assert plan.cuts["cell"].tolist() == ["A2", "A3", "A4"]
    assert set(plan.cuts["tray"]) == {"T1"}
    assert set(plan.cuts["date"]) == {"2026-06-02"}  # not a day too early: each day costs a little
    assert plan.orders.loc[0, ["planned", "short", "said"]].tolist() == [3.0, 0.0, ""]
    # By hand: 3 met, 5 plants left of worth 0.5 each (all gain alike), one tray opened at 0.01.
    assert plan.value == pytest.approx(3 + 2.5 - 0.01)


def test_short_orders_come_first_with_the_nearest_amount():
    have = supply({"T1": ("cos", 4)})
    plan = plan_cuts(
        have, orders(("cos", "2026-06-01", 1, ""), ("cos", "2026-06-03", 10, ""), order=["a", "b"], value=[3, 10]),
        settings=PlanSettings(),
    )  # fmt: skip
    assert plan.orders["order"].tolist() == ["b", "a"]
    assert plan.orders["planned"].tolist() == [3.0, 1.0]
    assert plan.orders["short"].tolist() == [7.0, 0.0]
    assert plan.said[0] == (
        "order b falls short: 3 heads of 10 heads of cos by 2026-06-03 (too few plants are ready by then, of this "
        "size, or free of other orders, within the hours)"
    )


def test_grams_are_met_with_as_few_plants_as_will_do():
    have = supply({"T1": ("cos", 4)}, grams=np.array([[40.0], [50.0], [60.0], [70.0]]))
    plan = plan_cuts(have, orders(("cos", "2026-06-01", "", 130)), settings=PlanSettings())
    # 60 + 70 are exactly 130: no other two give it, three are one plant more.
    assert plan.cuts["cell"].tolist() == ["A3", "A4"]
    assert plan.orders["planned"].tolist() == [130.0]


def test_bounds_of_a_head_hold():
    have = supply({"T1": ("cos", 4)}, grams=np.array([[40.0], [50.0], [60.0], [70.0]]))
    wanted = orders(("cos", "2026-06-01", 4, ""), min_g=[45], max_g=[65])
    assert plan_cuts(have, wanted, settings=PlanSettings()).cuts["cell"].tolist() == ["A2", "A3"]
    wanted = orders(("cos", "2026-06-01", 4, ""), max_mm2=[20_000])
    assert len(plan_cuts(have, wanted, settings=PlanSettings()).cuts) == 0


def test_gates_forbid_cells_and_days():
    have = supply({"T1": ("cos", 2)})
    have.open[0] = False
    have.open[1, 0] = False  # a waiting time that ends on the second day
    plan = plan_cuts(have, orders(("cos", "2026-06-01", 1, ""), ("cos", "2026-06-02", 2, "")), settings=PlanSettings())
    assert plan.cuts[["date", "cell"]].to_numpy().tolist() == [["2026-06-02", "A2"]]


def test_labour_bounds_each_day():
    have = supply({"T1": ("cos", 10)})
    settings = PlanSettings(hours_per_day=1, cells_per_hour=6, minutes_per_tray=20, keep_days=0)
    # An hour less 20 minutes for the tray leaves 40 minutes: 4 plants at 6 an hour.
    wanted = orders(("cos", "2026-06-01", 9, ""), ("cos", "2026-06-02", 9, ""))
    plan = plan_cuts(have, wanted, settings=settings)
    assert plan.cuts["date"].value_counts().to_dict() == {"2026-06-01": 4, "2026-06-02": 4}
    one = plan_cuts(
        supply({"T1": ("cos", 3), "T2": ("cos", 3)}), orders(("cos", "2026-06-01", 6, "")),
        settings=PlanSettings(trays_per_day=1, keep_days=0),
    )  # fmt: skip
    assert one.cuts["tray"].nunique() == 1


def test_plants_that_would_be_too_late_are_cut_first():
    have = supply({"T1": ("cos", 4)})
    have = replace(have, later=np.array([1.0, 0.0, 1.0, 0.0]))
    plan = plan_cuts(have, orders(("cos", "2026-06-03", 2, "")), settings=PlanSettings())
    assert plan.cuts["cell"].tolist() == ["A2", "A4"]


def test_whole_trays_are_cut_whole_or_not_at_all():
    have = supply({"T1": ("cos", 5), "T2": ("cos", 3)})
    plan = plan_cuts(have, orders(("cos", "2026-06-01", 3, "")), settings=PlanSettings(whole_tray=True))
    assert set(plan.cuts["tray"]) == {"T2"}
    more = plan_cuts(have, orders(("cos", "2026-06-01", 4, "")), settings=PlanSettings(whole_tray=True))
    assert set(more.cuts["tray"]) == {"T1"}
    assert more.cuts["order"].isna().sum() == 1  # cut with its tray, for nobody


@pytest.mark.parametrize(
    ("weights", "profits", "capacity", "best", "chosen"),
    [
        # J. Burkardt, data set KNAPSACK_01, problem P01 (Florida State University): optimum 309, items 1 2 3 4 6.
        ([23, 31, 29, 44, 53, 38, 63, 85, 89, 82], [92, 57, 49, 68, 60, 43, 67, 84, 87, 72], 165, 309, {1, 2, 3, 4, 6}),
        # Martello & Toth 1990, Knapsack Problems, as run through their routine MT1 in J. Burkardt's KNAPSACK library
        # (file knapsack_prb_output.txt, TEST01): capacity 104, optimum 900, items 1 3 4 5 7 8.
        ([25, 35, 45, 5, 25, 3, 2, 2], [350, 400, 450, 20, 70, 8, 5, 5], 104, 900, {1, 3, 4, 5, 7, 8}),
    ],
)  # fmt: skip
def test_published_knapsacks(weights, profits, capacity, best, chosen):
    # Item k is a tray of as many plants as it weighs, ordered whole for its profit; the hours of one day are the sack.
    trays = {f"T{k}": (f"crop{k}", weight) for k, weight in enumerate(weights, start=1)}
    lines = [(crop, "2026-06-01", count, "") for crop, count in trays.values()]
    settings = PLAIN.model_copy(
        update={"whole_tray": True, "cells_per_hour": 1.0, "hours_per_day": float(capacity), "gap": 0.0}
    )
    plan = plan_cuts(supply(trays, days=1), orders(*lines, value=profits), settings=settings)
    assert plan.value == pytest.approx(best)
    assert {int(tray[1:]) for tray in plan.cuts["tray"]} == chosen


@pytest.mark.parametrize("whole_tray", [False, True])
def test_like_cells_together_lose_less_than_one_percent(whole_tray):
    have = farm(9, 12, days=4, seed=3)
    settings = PlanSettings(whole_tray=whole_tray, hours_per_day=0.5, cells_per_hour=60, gap=0.001, time_limit_s=60)
    wanted = farm_orders(have, 6, seed=4, share=0.4)
    alone = plan_cuts(have, wanted, settings=settings.model_copy(update={"exact_columns": 10**6}), aggregate=False)
    together = plan_cuts(have, wanted, settings=settings)
    assert alone.gap <= 0.001
    # The value may be negative where orders fall far short; their worth is the scale.
    scale = float(wanted["wanted"].where(wanted["unit"] == "heads", wanted["wanted"] / 60).sum())
    assert (alone.value - together.value) / max(abs(alone.value), scale) <= 0.01


def test_a_farm_too_large_to_be_solved_at_once():
    have = farm(90, 72, days=7, seed=0)
    settings = PlanSettings(hours_per_day=2.0)
    plan = plan_cuts(have, farm_orders(have, 20, seed=1), settings=settings)
    # The whole of 500 trays is timed by `benchmarks.plan`; what must hold of every plan is checked here.
    assert plan.gap < 0.02
    assert f"better by more than {100 * plan.gap:.2f} % of all" in plan.said[-1]
    assert not plan.cuts.duplicated(["tray", "cell"]).any()
    per_day = plan.cuts.groupby("date").agg(cells=("cell", "size"), trays=("tray", "nunique"))
    assert (per_day["cells"] / 300 + per_day["trays"] / 60 <= 2 + 1e-6).all()
    assert (plan.cuts["sure"] >= settings.sure).all()
    over = plan.orders["planned"] - plan.orders["wanted"]
    assert (over[plan.orders["unit"] == "heads"] <= 0).all()


def test_grams_of_a_crop_that_was_never_weighed():
    have = supply({"T1": ("cos", 4)}, grams=np.nan)
    plan = plan_cuts(have, orders(("cos", "2026-06-01", "", 100)), settings=PlanSettings())
    assert plan.orders["said"].tolist() == ["grams are not known for this crop: weigh some plants, or order heads"]


def test_orders_past_the_planned_days_and_no_orders():
    have = supply({"T1": ("cos", 4)})
    plan = plan_cuts(have, orders(("cos", "2026-07-01", 1, ""), order=["july"]), settings=PlanSettings())
    assert plan.said == ("order july: due 2026-07-01, after 2026-06-03; planned later", "no order to plan for")
    assert len(plan.cuts) == 0
    assert plan.cuts.dtypes.astype(str).to_dict() == CUT_DTYPES


def test_the_same_farm_gives_the_same_plan():
    have = farm(12, 12, days=4, seed=5)
    first, second = (plan_cuts(have, farm_orders(have, 4, seed=6), settings=PlanSettings()) for _ in range(2))
    assert first.cuts.equals(second.cuts)
