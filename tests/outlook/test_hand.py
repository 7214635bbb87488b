"""Photo and hand together: nothing stale or missing is taken as good."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from canopy.errors import UsageError
from canopy.outlook.farm import read_farm
from canopy.outlook.follow import line_up_trays
from canopy.outlook.hand import ready_now
from canopy.readiness.recipes import recipe_for, recipes_from_toml

from .drawn_farm import TODAY

OWN = """
[[crop]]
crop = "butterhead"
stage = "finish"
age = false
colour = false
health = false
size = { low = 1000, target = 2000, weight = 0.6 }
{sample}
[[crop.measured]]
name = "brix"
better = "larger"
low = 1
target = 5
weight = 0.4
least = 2
max_age_days = 3
{sampled}
source = "our default, tune on own trays"
"""
SAMPLE = 'sample = { share = 0.8, confidence = 0.8, source = "our default, tune on own trays" }'


def _now(farm, measured, *, sampled=False):
    text = OWN.replace("{sampled}", "sampled = true" if sampled else "").replace("{sample}", SAMPLE if sampled else "")
    (farm / "canopy.toml").write_text(text)
    if measured:
        (farm / "measured.csv").write_text("tray,cell,date,brix\n" + measured)
    known = read_farm(farm)
    lined, _ = line_up_trays(known, known.only("T1"), today=TODAY)
    told = ready_now(lined, known.events, known.measured, today=TODAY, settings=known.settings.readiness)
    return told["now"].iloc[0], told["cells"].set_index("cell"), known


def test_what_was_never_measured_is_not_taken_as_good(farm):
    now, cells, _ = _now(farm, "")
    assert (now["offered"], now["inspect"]) == (0, now["plants"] - now["wait"])
    assert now["said"] == "brix was not measured"
    assert cells["readiness"].isna().all()


def test_what_is_stale_is_said_and_not_taken_as_good(farm):
    now, _, _ = _now(farm, "T1,,2026-05-20,9\n")
    assert now["offered"] == 0
    assert now["said"] == "brix was measured 12 days ago, limit 3; measure again"


def test_score_with_a_measurement_by_hand(farm):
    now, cells, _ = _now(farm, "T1,,2026-05-31,4\nT1,A2,2026-05-31,1.5\n")
    # Photo: size past its target, d = 1. Brix 4 between 1 and 5: d = 0.75; 100 · 1^0.6 · 0.75^0.4 = 89.1.
    ready = cells[(cells["decision"] == "harvest")]
    assert now["offered"] == len(ready) > 0
    np.testing.assert_allclose(ready["readiness"], 100 * 0.75**0.4)
    assert cells.loc["A2", ["decision", "why"]].tolist() == ["wait", "brix 1.5 below 2"]
    assert now["pull"] is pd.NA


def test_a_sample_tells_how_many_plugs_to_pull(farm):
    now, _, _ = _now(farm, "", sampled=True)
    assert (now["pull"], now["said"]) == (8, "brix was not measured: pull 8 plugs")
    lines = [f"T1,A{k},2026-06-01,5\n" for k in range(1, 6)]
    now, _, _ = _now(farm, "".join(lines), sampled=True)
    assert (now["pull"], now["offered"], now["said"]) == (3, 0, "brix: 5 plugs pass; pull 3 more")
    lines += [f"T1,B{k},2026-06-01,5\n" for k in range(1, 4)]
    now, _, _ = _now(farm, "".join(lines), sampled=True)
    assert now["pull"] == 0
    assert now["offered"] > 0
    now, _, _ = _now(farm, "".join(lines).replace("A1,2026-06-01,5", "A1,2026-06-01,1"), sampled=True)
    assert now["offered"] == 0
    assert now["said"].startswith("brix: 1 of 8 pulled plugs fail; wait, or pull ")


def test_a_recipe_with_measurements_is_never_offered_by_a_photo_alone():
    recipe = recipe_for("plug", "seedling")
    assert [one.name for one in recipe.measured] == ["root_score", "evenness"]
    assert recipe.measured[0].sampled


def test_recipes_that_make_no_sense_are_refused():
    text = OWN.replace("{sampled}", "sampled = true").replace("{sample}", "")
    with pytest.raises(UsageError, match="`sample` is needed where a measurement is `sampled`"):
        recipes_from_toml(text, source_name="canopy.toml")
    with pytest.raises(UsageError, match=r"measured.0.max_days: unknown field, did you mean `max_age_days`"):
        recipes_from_toml(OWN.replace("{sampled}", "max_days = 3").replace("{sample}", ""), source_name="canopy.toml")
    with pytest.raises(UsageError, match="`least` 2 must not lie above `most` 1"):
        recipes_from_toml(OWN.replace("{sampled}", "most = 1").replace("{sample}", ""), source_name="canopy.toml")
