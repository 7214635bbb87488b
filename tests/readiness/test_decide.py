"""Scores, ranges and decisions on cells whose numbers can be redone by hand (recipe and cells: conftest)."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd
import pytest

from canopy.errors import PhotoError
from canopy.readiness.criteria import CRITERIA_COLUMNS
from canopy.readiness.decide import ScoredCells, decide_tray, score_cells
from canopy.readiness.desirability import readiness_sd
from canopy.readiness.recipes import known_recipes
from canopy.records.recipe import CropRecipe
from canopy.records.tray import Treatment
from canopy.settings.readiness import ReadinessSettings

from .conftest import RECIPE, SOWN, TAKEN

MakeCells = Callable[..., pd.DataFrame]
# The weighted line: size .95^.4 · colour .9^.2 · age .7^.2 · health 1^.2 = 0.893218 by calculator. Day 9 of 2..12: .7.
LINE = {"area_mm2": 950.0, "ngrdi": 0.18}
DAY_9 = date(2026, 5, 4)


def score(cells: pd.DataFrame, recipe: CropRecipe | None, **changes: Any) -> ScoredCells:
    given: dict[str, Any] = {"taken_at": TAKEN, "sown_on": SOWN, "settings": ReadinessSettings(), **changes}
    return score_cells(cells, recipe, **given)


def changed(**blocks: Any) -> CropRecipe:
    merged = {k: {**RECIPE.get(k, {}), **v} if isinstance(v, dict) else v for k, v in blocks.items()}
    return CropRecipe.model_validate({**RECIPE, **merged})


def test_a_perfect_plant(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cell = score(make_cells({}), recipe).cells.iloc[0]
    assert (cell["das"], cell["readiness"], cell["decision"]) == (12, 100.0, "transplant")
    assert pd.isna(cell["limiting"])
    assert pd.isna(cell["reason"])


def test_the_finish_stage_says_harvest(make_cells: MakeCells) -> None:
    assert score(make_cells({}), changed(stage="finish")).cells["decision"].tolist() == ["harvest"]


def test_the_weighted_line(make_cells: MakeCells, recipe: CropRecipe) -> None:
    out = score(make_cells(LINE), recipe, sown_on=DAY_9)
    assert out.cells["readiness"].iloc[0] == pytest.approx(89.3218, abs=5e-5)  # five decimals of the calculator
    assert out.cells["limiting"].iloc[0] == "age"
    assert out.criteria["desirability"].tolist() == pytest.approx([0.95, 0.9, 0.7, 1.0], abs=1e-12)
    assert out.criteria["weight"].tolist() == pytest.approx([0.4, 0.2, 0.2, 0.2], abs=1e-12)


def test_a_high_score_below_the_minimum_age_waits(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cell = score(make_cells(LINE), recipe, sown_on=DAY_9).cells.iloc[0]
    assert cell["decision"] == "wait"
    assert cell["reason"].startswith("too young: 9 days after sowing, minimum 10")


def test_a_high_score_below_the_minimum_area_waits(make_cells: MakeCells) -> None:
    small = changed(gates={"minimum_area_mm2": 1600})
    cell = score(make_cells({}), small).cells.iloc[0]
    assert (cell["decision"], cell["reason"]) == ("wait", "too small: 1500 mm², minimum 1600 mm²")


def test_a_low_score_waits_and_says_what_holds_it_back(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cell = score(make_cells({"area_mm2": 300.0}), recipe).cells.iloc[0]
    # 100 · .3^.4 = 61.78
    assert cell["readiness"] == pytest.approx(61.78, abs=0.005)
    assert (cell["decision"], cell["limiting"]) == ("wait", "size")
    assert cell["reason"] == "score 61.7 below 80, held back by size"


def test_a_score_just_below_does_not_read_as_reached(make_cells: MakeCells, recipe: CropRecipe) -> None:
    # .5723^.4 = .79996: rounded to one decimal it would read 80.0
    cell = score(make_cells({"area_mm2": 572.35}), recipe).cells.iloc[0]
    assert 79.95 < cell["readiness"] < 80
    assert "score 79.9 below 80" in cell["reason"]
    assert cell["decision"] == "wait"


def test_damage_above_the_limit_is_inspected_whatever_the_score(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cell = score(make_cells({"yellow_fraction": 0.15, "brown_fraction": 0.06}), recipe).cells.iloc[0]
    # (0.5 − 0.21)/0.5 = .58; .58^.2 = .8968: the score alone would pass
    assert cell["readiness"] == pytest.approx(89.68, abs=0.005)
    assert cell["decision"] == "inspect"
    assert "damage: 21.0 % yellow or brown, limit 20.0 %" in cell["reason"]


def test_only_damage_in_the_way_is_inspected_because_waiting_does_not_mend(make_cells: MakeCells) -> None:
    mild = changed(gates={"damage_limit": 0.5})
    cell = score(make_cells({"yellow_fraction": 0.4}), mild).cells.iloc[0]  # .2^.2 = .725 < .8, else perfect
    assert (cell["decision"], cell["limiting"]) == ("inspect", "health")
    assert "health is past its target and waiting will not mend that" in cell["reason"]


def test_older_than_the_recipes_last_day_is_inspected(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cell = score(make_cells({}), recipe, sown_on=date(2026, 4, 13)).cells.iloc[0]  # day 30
    assert (cell["readiness"], cell["decision"]) == (0.0, "inspect")
    assert "too old: 30 days after sowing, last day 30" in cell["reason"]


def test_overgrown_is_inspected_and_not_told_to_wait(make_cells: MakeCells) -> None:
    two_sided = changed(size={"better": "target", "low": 0, "target": 1000, "high": 2000})
    cell = score(make_cells({"area_mm2": 1900.0}), two_sided).cells.iloc[0]  # .1^.4 = .398
    assert (cell["decision"], cell["limiting"]) == ("inspect", "size")


def test_a_red_leaf_that_is_not_red_yet_waits(make_cells: MakeCells) -> None:
    colour = {"index": "ngrdi", "better": "smaller", "target": 0.0, "high": 0.2, "low": None}
    cell = score(make_cells({"ngrdi": 0.19}), changed(red=True, colour=colour), settings=_certain()).cells.iloc[0]
    # (0.2 − 0.19)/0.2 = .05; .05^.2 = .549
    assert (cell["decision"], cell["limiting"]) == ("wait", "colour")


def _certain(**changes: Any) -> ReadinessSettings:
    return ReadinessSettings(**{"hue_sd_deg": 0, "index_sd": 0, "damage_sd": 0, **changes})


def test_an_empty_cell_has_no_score(make_cells: MakeCells, recipe: CropRecipe) -> None:
    out = score(make_cells({"state": "empty", "area_mm2": np.nan}, {}), recipe)
    empty = out.cells.iloc[0]
    assert empty["decision"] == "empty"
    assert empty[["readiness", "readiness_low", "readiness_high", "limiting", "reason"]].isna().all()
    assert empty["das"] == 12
    assert out.criteria["cell"].unique().tolist() == ["A2"]


def test_a_dead_plant_is_inspected_and_keeps_its_reason(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cell = score(make_cells({"state": "empty", "reason": "dead plant"}), recipe).cells.iloc[0]
    assert (cell["decision"], cell["reason"]) == ("inspect", "dead plant")


@pytest.mark.parametrize("words", ["plant looks dead: 93 % of it is brown", "dead", "dead, brown"])
def test_dead_is_read_from_the_words(make_cells: MakeCells, recipe: CropRecipe, words: str) -> None:
    cells = make_cells({"state": "empty", "reason": words}, {"state": "empty", "reason": "no canopy seen"})
    assert score(cells, recipe).cells["decision"].tolist() == ["inspect", "empty"]


def test_a_cell_that_the_photo_does_not_show_is_inspected(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cells = make_cells({"state": None, "reason": "the photo does not show the whole cell"}, {})
    for state in (cells["state"], cells["state"].astype("string")):  # missing as None and as pd.NA
        out = score(cells.assign(state=state), recipe)
        assert out.cells["decision"].tolist() == ["inspect", "transplant"]
        assert out.cells["reason"].iloc[0] == "the photo does not show the whole cell"
        assert out.criteria["cell"].unique().tolist() == ["A2"]
        assert decide_tray(out, recipe, settings=ReadinessSettings())["ready"] == 1


def test_doubtful_cells_are_inspected(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cells = make_cells({"doubtful": True}, {"doubtful": False}, {"reason": "blurred: left edge"}, {"reason": "touches"})
    decisions = score(cells, recipe).cells["decision"].tolist()
    # `blurred` is a reason that blocks; `touches` is only a remark
    assert decisions == ["inspect", "transplant", "inspect", "transplant"]


def test_a_waiting_time_always_blocks(make_cells: MakeCells, recipe: CropRecipe) -> None:
    treatments = [Treatment(applied_on=date(2026, 5, 10), interval_days=7, product="Leafguard")]
    cells = make_cells({}, LINE, {"area_mm2": 300.0}, {"yellow_fraction": 0.4}, {"state": "empty"})
    out = score(cells, recipe, treatments=treatments)
    assert out.cells["decision"].tolist() == ["wait", "wait", "wait", "inspect", "empty"]
    for text in out.cells["reason"].tolist()[:4]:
        assert "Leafguard applied 2026-05-10: 4 days left" in text
        assert "follow the product label" in text
    assert out.cells["readiness"].iloc[0] == 100.0
    assert decide_tray(out, recipe, settings=ReadinessSettings())["ready"] == 0


def test_after_the_waiting_time_cells_are_offered_again(make_cells: MakeCells, recipe: CropRecipe) -> None:
    treatments = [Treatment(applied_on=date(2026, 5, 6), interval_days=7)]
    assert score(make_cells({}), recipe, treatments=treatments).cells["decision"].tolist() == ["transplant"]


def test_without_a_sowing_date_there_is_no_score(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cell = score(make_cells({}), recipe, sown_on=None).cells.iloc[0]
    assert pd.isna(cell["das"])
    assert pd.isna(cell["readiness"])
    assert (cell["decision"], cell["reason"]) == ("inspect", "no score: age missing, no sowing date or no photo date")


def test_under_purple_light_weights_are_shared_out_and_a_person_looks(
    make_cells: MakeCells, recipe: CropRecipe
) -> None:
    out = score(make_cells({"area_mm2": 950.0}), recipe, colour_withheld=True)
    cell, criteria = out.cells.iloc[0], out.criteria.set_index("criterion")
    # size .95 at .4/.6, age 1 at .2/.6: 100 · .95^(2/3) = 96.64
    assert cell["readiness"] == pytest.approx(96.64, abs=0.005)
    assert criteria["weight"].tolist() == pytest.approx([2 / 3, 0, 1 / 3, 0])
    assert criteria["withheld"].tolist() == [False, True, False, True]
    assert criteria.loc["colour", ["value", "desirability"]].isna().all()
    assert cell["decision"] == "inspect"
    assert "colour and health withheld, their weight shared out" in cell["reason"]
    assert "could not be judged: look at the plants first" in cell["reason"]


def test_a_grower_may_choose_to_pick_without_colour(make_cells: MakeCells, recipe: CropRecipe) -> None:
    out = score(make_cells({}), recipe, colour_withheld=True, settings=ReadinessSettings(ready_without_colour=True))
    assert out.cells["decision"].tolist() == ["transplant"]


def test_a_criterion_that_may_not_be_withheld_takes_the_score_with_it(make_cells: MakeCells) -> None:
    strict = changed(colour={"may_be_withheld": False})
    cell = score(make_cells({}), strict, colour_withheld=True).cells.iloc[0]
    assert pd.isna(cell["readiness"])
    assert cell["decision"] == "inspect"
    assert "no score: colour could not be judged" in cell["reason"]


def test_one_cell_without_an_index_is_scored_on_the_rest(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cells = score(make_cells({"ngrdi": np.nan}, {}), recipe).cells
    assert cells["decision"].tolist() == ["transplant", "transplant"]
    assert cells["reason"].iloc[0] == "colour withheld, its weight shared out"


def test_without_a_recipe_nothing_is_scored(make_cells: MakeCells) -> None:
    out = score(make_cells({}, {"state": "empty", "reason": "dead plant"}), None)
    fields = ["readiness", "readiness_low", "readiness_high", "decision", "limiting"]
    assert out.cells[fields].isna().all(axis=None)
    assert out.cells["das"].tolist() == [12, 12]
    assert out.cells["reason"].iloc[1] == "dead plant"
    assert list(out.criteria.columns) == list(CRITERIA_COLUMNS)
    assert out.criteria.empty
    assert decide_tray(out, None, settings=ReadinessSettings()) == {"ready": None, "ready_on": None, "decision": None}


def test_range_of_the_area_alone_is_its_exact_interval(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cells = make_cells({"area_mm2": 700.0, "area_low_mm2": 600.0, "area_high_mm2": 850.0})
    cell = score(cells, recipe, settings=_certain()).cells.iloc[0]
    low, mid, high = (100 * (a / 1000) ** 0.4 for a in (600, 700, 850))  # by hand: 81.5, 86.7, 93.7
    got = cell[["readiness_low", "readiness", "readiness_high"]].tolist()
    assert got == pytest.approx([low, mid, high], abs=1e-9)  # float rounding only


def test_range_of_small_uncertainties_is_the_delta_methods(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cells = make_cells({"area_mm2": 700.0, "area_low_mm2": 699.0, "area_high_mm2": 701.0, "ngrdi": 0.15})
    settings = _certain(index_sd=0.001, range_factor=1.0)
    cell = score(cells, recipe, settings=settings).cells.iloc[0]
    sd = 100 * float(readiness_sd([0.7, 0.75, 1, 1], [0.001, 0.005, 0, 0], [0.4, 0.2, 0.2, 0.2]))
    half_width = (cell["readiness_high"] - cell["readiness_low"]) / 2
    assert half_width == pytest.approx(sd, rel=1e-3)  # second order: sd/d = 0.7 % squared is 5e-5


def test_a_range_across_the_threshold_is_said(make_cells: MakeCells, recipe: CropRecipe) -> None:
    above = {"area_mm2": 600.0, "area_low_mm2": 540.0, "area_high_mm2": 660.0}  # 81.5, from 78.2
    below = {"area_mm2": 550.0, "area_low_mm2": 500.0, "area_high_mm2": 600.0}  # 78.7, up to 81.5
    cells = score(make_cells(above, below), recipe, settings=_certain()).cells
    assert cells["decision"].tolist() == ["transplant", "wait"]
    assert cells["reason"].iloc[0] == "range 78.2 to 84.7 crosses 80"
    assert "range 75.8 to 81.5 crosses 80" in cells["reason"].iloc[1]


def test_a_range_far_across_the_threshold_is_inspected(make_cells: MakeCells, recipe: CropRecipe) -> None:
    above = {"area_mm2": 700.0, "area_low_mm2": 400.0, "area_high_mm2": 1000.0}  # 86.7, from 69.3: 10.7 under
    below = {"area_mm2": 550.0, "area_low_mm2": 300.0, "area_high_mm2": 990.0}  # 78.7, up to 99.6: 19.6 over
    cells = score(make_cells(above, below), recipe, settings=_certain()).cells
    assert cells["decision"].tolist() == ["inspect", "inspect"]
    assert cells["reason"].str.contains("too wide to decide").all()


def test_a_wide_range_is_no_reason_to_look_at_a_plant_that_is_too_young(
    make_cells: MakeCells, recipe: CropRecipe
) -> None:
    wide = {"area_mm2": 700.0, "area_low_mm2": 400.0, "area_high_mm2": 1000.0}
    cells = score(make_cells(wide), recipe, sown_on=DAY_9, settings=_certain()).cells
    assert cells["decision"].tolist() == ["wait"]


def test_an_unknown_area_range_gives_no_score_range(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cells = make_cells({"area_mm2": 950.0, "area_low_mm2": np.nan, "area_high_mm2": np.nan})
    cell = score(cells, recipe).cells.iloc[0]
    assert cell["readiness"] > 0
    assert cell[["readiness_low", "readiness_high"]].isna().all()


def test_ranges_hold_the_score(make_cells: MakeCells, recipe: CropRecipe) -> None:
    rng = np.random.default_rng(11)
    changes = [
        {
            "area_mm2": float(rng.uniform(60, 1500)),
            "ngrdi": float(rng.uniform(-0.1, 0.4)),
            "yellow_fraction": float(rng.uniform(0, 0.5)),
        }
        for _ in range(200)
    ]
    cells = score(make_cells(*changes), recipe).cells
    assert (cells["readiness_low"] <= cells["readiness"]).all()
    assert (cells["readiness"] <= cells["readiness_high"]).all()
    assert cells["readiness_low"].min() >= 0
    assert cells["readiness_high"].max() <= 100
    assert set(cells["decision"]) == {"transplant", "wait", "inspect"}
    offered = cells[cells["decision"] == "transplant"]
    assert (offered["readiness"] >= 80).all()
    assert (offered["yellow_fraction"] <= 0.2).all()
    assert (offered["area_mm2"] >= 500).all()


def test_cover_takes_the_relative_range_of_the_area(make_cells: MakeCells) -> None:
    mat = changed(
        stage="mat",
        size=None,
        cover={"better": "larger", "low": 0.0, "target": 1.0, "weight": 0.4, "source": "ours"},
        gates={"minimum_area_mm2": None},
    )
    cells = make_cells({"cover": 0.8, "area_mm2": 1000.0, "area_low_mm2": 900.0, "area_high_mm2": 1050.0})
    row = score(cells, mat).criteria.set_index("criterion").loc["cover"]
    assert row[["value_low", "value", "value_high"]].tolist() == pytest.approx([0.72, 0.8, 0.84])  # · .9, · 1.05


def test_sown_after_the_photo_names_the_tray(make_cells: MakeCells, recipe: CropRecipe) -> None:
    with pytest.raises(PhotoError, match="T-01: `sown_on` 2026-06-01"):
        score(make_cells({}), recipe, sown_on=date(2026, 6, 1))


def test_input_is_left_alone_and_the_same_again(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cells = make_cells({}, LINE, {"state": "empty"})
    before = cells.copy(deep=True)
    first, second = score(cells, recipe), score(cells, recipe)
    pd.testing.assert_frame_equal(cells, before)
    pd.testing.assert_frame_equal(first.cells, second.cells)
    pd.testing.assert_frame_equal(first.criteria, second.criteria)


def test_same_columns_and_types_whatever_the_tray_holds(make_cells: MakeCells, recipe: CropRecipe) -> None:
    full, dead = score(make_cells({}), recipe), score(make_cells({"state": "empty"}), recipe)
    unscored = score(make_cells({}), None)
    for other in (dead, unscored):
        assert other.cells.dtypes.equals(full.cells.dtypes)
        assert other.criteria.dtypes.equals(full.criteria.dtypes)
    nothing = score(make_cells(), recipe)
    assert list(nothing.cells.columns) == list(full.cells.columns)
    assert nothing.criteria.dtypes.equals(full.criteria.dtypes)


@pytest.mark.parametrize(
    ("states", "expected"),
    [
        ("ttttw", ("transplant", 4)),  # 4 of 5 planted: the share of 0.8
        ("tttww", ("wait", 3)),
        ("tttwi", ("inspect", 3)),  # 1 of 5 to inspect: the share of 0.2
        ("ttttieeee", ("transplant", 4)),  # empty cells do not count
        ("ee", ("empty", 0)),
        ("", ("empty", 0)),
    ],
)
def test_tray_decision(
    make_cells: MakeCells, recipe: CropRecipe, states: str, expected: tuple[str, int], settings: ReadinessSettings
) -> None:
    kinds = {"t": {}, "w": {"area_mm2": 300.0}, "i": {"brown_fraction": 0.3}, "e": {"state": "empty"}}
    out = score(make_cells(*(kinds[s] for s in states)), recipe)
    summary = decide_tray(out, recipe, settings=settings)
    assert (summary["decision"], summary["ready"], summary["ready_on"]) == (*expected, None)


@pytest.mark.parametrize("recipe", known_recipes().values(), ids=["/".join(key) for key in known_recipes()])
def test_no_shipped_recipe_offers_a_plant_the_day_before_its_minimum(make_cells: MakeCells, recipe: CropRecipe) -> None:
    assert recipe.age is not None
    target = recipe.size.target if recipe.size is not None else 1500.0
    well = {"area_mm2": target, "cover": 1.0, "ngrdi": -0.2 if recipe.red else 0.3}
    # What is measured by hand is not in the photo: such a recipe asks for it instead of offering.
    ready = "inspect" if recipe.measured else recipe.ready_decision
    for days, expected in ((recipe.gates.minimum_das - 1, "wait"), (recipe.age.target, ready)):
        sown = datetime.fromordinal(TAKEN.toordinal() - int(days)).date()
        assert score(make_cells(well), recipe, sown_on=sown).cells["decision"].tolist() == [expected]


def test_288_cells_are_scored_in_a_blink(make_cells: MakeCells, recipe: CropRecipe) -> None:
    changes = [{"area_mm2": 200.0 + 5 * i, "state": "empty" if i % 11 == 0 else "planted"} for i in range(288)]
    cells = make_cells(*changes)
    best = math.inf
    for _ in range(5):
        start = time.perf_counter()
        score(cells, recipe)
        best = min(best, time.perf_counter() - start)
    assert best < 0.1  # measured 5 ms; a per-cell pandas loop takes over 100 ms, a busy machine must not fail it


SURE = {"area_low_mm2": 1200.0, "area_high_mm2": 1800.0}  # of 1500 mm²: 1.5 times from end to end, as of most plants


@pytest.mark.parametrize(
    ("small", "empty"),
    [
        ({"area_mm2": 480.0, "area_low_mm2": 210.0, "area_high_mm2": 1128.0}, True),  # 0.32 of 1500; 5.4 times
        ({"area_mm2": 480.0, "area_low_mm2": 384.0, "area_high_mm2": 576.0}, False),  # as sure as the others: a runt
        ({"area_mm2": 600.0, "area_low_mm2": 210.0, "area_high_mm2": 1128.0}, False),  # 0.4 of 1500: not so small
        ({"area_mm2": 480.0, "area_low_mm2": 0.0, "area_high_mm2": 1128.0}, True),  # nothing of it is sure
    ],
)
def test_a_small_and_doubtful_plant_may_be_an_empty_cell(
    make_cells: MakeCells, recipe: CropRecipe, small: dict[str, float], empty: bool
) -> None:
    cells = score(make_cells(SURE, SURE, SURE, small), recipe).cells
    assert cells["decision"].iloc[:3].eq("transplant").all()
    assert not empty or cells["decision"].iloc[3] == "inspect"
    assert ("may be empty: " in cells["reason"].iloc[3]) == empty
    assert not cells["reason"].iloc[:3].fillna("").str.contains("may be empty").any()


def test_a_thin_tile_of_a_mat_is_no_empty_cell(make_cells: MakeCells) -> None:
    small = {"area_mm2": 480.0, "area_low_mm2": 210.0, "area_high_mm2": 1128.0}
    cells = score(make_cells(SURE, SURE, SURE, small), changed(stage="mat")).cells
    assert not cells["reason"].fillna("").str.contains("may be empty").any()


def test_a_recipe_that_wants_measurements_is_not_offered_by_the_photo_alone(make_cells: MakeCells) -> None:
    plug = known_recipes()["plug", "seedling"]
    sown = datetime.fromordinal(TAKEN.toordinal() - 14).date()
    cells = score(make_cells({"area_mm2": 1000.0}), plug, sown_on=sown).cells
    assert cells["decision"].tolist() == ["inspect"]
    assert "root_score and evenness measured by hand also count: see `canopy ready`" in cells["reason"].iloc[0]
