from __future__ import annotations

import math
from datetime import date

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from canopy.errors import UsageError
from canopy.growth.weigh_ins import Weighed, check_weigh_ins, match_weigh_ins
from canopy.growth.weight import (
    WEIGHT_DTYPES,
    conformal_rank,
    estimate_total,
    estimate_weights,
    learn_weight,
)
from canopy.readiness.recipes import recipe_for
from canopy.records import Layout, TrayRecord
from canopy.settings.growth import WeightSettings

SETTINGS = WeightSettings()
HEAD = recipe_for("butterhead", "finish")
SEEDLING = recipe_for("butterhead", "seedling")
LAYOUT = Layout(
    name="2x3", rows=2, columns=3, pitch_x_mm=50, pitch_y_mm=50, outline_width_mm=170, outline_height_mm=120
)
TRAYS = {t: TrayRecord(tray=t, layout=LAYOUT, sown_on=date(2026, 5, 1)) for t in ("T1", "T2")}


def _plants(count, *, a=-9.0, b=1.3, sd=0.12, trays=10, tray_sd=0.0, seed=1, age=0.0):
    """Weigh-ins of plants of ln W = a + b ln A + age · das + tray + own error."""
    rng = np.random.default_rng(seed)
    shift = rng.normal(0, tray_sd, trays)
    found = []
    for i in range(count):
        area, das, t = float(np.exp(rng.uniform(np.log(4_000), np.log(40_000)))), float(rng.uniform(20, 40)), i % trays
        grams = math.exp(a + b * math.log(area) + age * das + shift[t] + rng.normal(0, sd))
        found.append(Weighed(f"T{t}", f"A{i}", das, grams, np.array([area])))
    return found


def test_conformal_rank_by_definition():
    # ⌈(n + 1) · level⌉ (Lei et al. 2018): 19 and 99 at 90 % give 18 and 90, 50 gives 46, 200 at 95 % gives 191; of 8
    # the ninth would be needed, which there is not.
    assert [conformal_rank(n, level=0.9) for n in (19, 99, 50, 8, 9)] == [18, 90, 46, None, 9]
    assert conformal_rank(200, level=0.95) == 191


def test_recipe_curve_is_marked_uncalibrated():
    # Sustainability 2023, 15(10), 7812: about 0.21 g per cm² of projected canopy of one lettuce in one constant
    # climate; 300 cm² are then 63 g. Whether fresh or dry weight was meant was not in the part read.
    model = learn_weight([], recipe=HEAD, settings=SETTINGS)
    told = estimate_weights(model, [30_000.0, 10_000.0, 1_000.0, np.nan], 35.0)
    assert told.dtypes.astype(str).to_dict() == WEIGHT_DTYPES
    np.testing.assert_allclose(told["weight_g"], [63.0, 21.0, np.nan, np.nan], rtol=1e-12)
    assert told["weight_low_g"].isna().all()
    assert told["note"].tolist() == [
        "uncalibrated", "uncalibrated", "outside the areas of the recipe's curve, 20 to 400 cm²: no number", "",
    ]  # fmt: skip
    assert not model.calibrated
    assert model.said.startswith("uncalibrated: nothing was weighed; the recipe's curve (0.21 g per cm²")
    total = estimate_total(model, [30_000.0, 10_000.0], das=35.0, settings=SETTINGS).iloc[0]
    assert total["weight_g"] == pytest.approx(84.0)
    assert total["note"] == "uncalibrated"
    assert math.isnan(total["weight_low_g"])


def test_recipe_without_curve_gives_no_number():
    assert learn_weight([], recipe=SEEDLING, settings=SETTINGS) is None
    for told in (estimate_weights(None, [500.0], 12.0), estimate_total(None, [500.0], das=12.0, settings=SETTINGS)):
        assert told["weight_g"].isna().all()
        assert told["note"].tolist() == ["nothing was weighed and the recipe has no curve"]


def test_power_law_is_found():
    model = learn_weight(_plants(30, sd=0.0), recipe=HEAD, settings=SETTINGS)
    assert (model.ln_a, model.exponent) == (pytest.approx(-9.0, abs=1e-9), pytest.approx(1.3, abs=1e-9))
    # Doubling the area at an exponent of 1.3 gives 2^1.3 = 2.462 times the weight.
    told = estimate_weights(model, [10_000.0, 20_000.0], 30.0)["weight_g"]
    assert told[1] / told[0] == pytest.approx(2.4623, abs=1e-4)


def test_fit_agrees_with_scipy_where_nothing_is_odd():
    plants = _plants(200)
    normal = SETTINGS.model_copy(update={"tail_dof": 1000.0})
    model = learn_weight(plants, recipe=HEAD, settings=normal)
    half = [p for p in plants if int(p.tray[1:]) % 2 == 0]  # trays by turns; the other half is held back
    reference = stats.linregress(np.log([p.area_mm2[0] for p in half]), np.log([p.grams for p in half]))
    # Student's t of 1000 degrees is normal to a thousandth; so are the numbers.
    assert model.exponent == pytest.approx(reference.slope, abs=1e-3)
    assert model.ln_a == pytest.approx(reference.intercept, abs=1e-2)


def test_few_weigh_ins_fix_the_exponent_and_promise_no_range():
    model = learn_weight(_plants(8), recipe=HEAD, settings=SETTINGS)
    assert model.exponent == SETTINGS.exponent
    told = estimate_weights(model, [10_000.0], 30.0).iloc[0]
    assert told["weight_g"] > 0
    assert math.isnan(told["weight_low_g"])
    assert model.said == (
        "8 plants and 0 whole trays weighed; exponent taken as given; no range for plants and whole trays: "
        "that takes about 18 weigh-ins"
    )


def test_nothing_is_said_outside_the_weighed_areas():
    model = learn_weight(_plants(30), recipe=HEAD, settings=SETTINGS)
    told = estimate_weights(model, [2_000.0, 60_000.0, 10_000.0], 30.0)
    assert told["weight_g"].isna().tolist() == [True, True, False]
    assert told["note"][0].startswith("outside the weighed areas, ")
    total = estimate_total(model, [60_000.0] + [10_000.0] * 9, das=30.0, settings=SETTINGS).iloc[0]
    assert math.isnan(total["weight_g"])
    assert total["note"].startswith("10 % of the plants are outside the weighed areas, ")
    few = estimate_total(model, [60_000.0] + [10_000.0] * 29, das=30.0, settings=SETTINGS).iloc[0]
    assert few["weight_g"] > 0
    assert "3 % of the plants reckoned at the end of the weighed areas" in few["note"]


def test_a_mistyped_weight_moves_little():
    plants = _plants(60)
    clean = learn_weight(plants, recipe=HEAD, settings=SETTINGS)
    plants[4] = Weighed("T4", "A4", plants[4].das, plants[4].grams * 10, plants[4].area_mm2)
    spoilt = learn_weight(plants, recipe=HEAD, settings=SETTINGS)
    told = [estimate_weights(m, [10_000.0], 30.0)["weight_g"][0] for m in (clean, spoilt)]
    # Least squares would be off by ln(10)/30 = 8 % at least.
    assert abs(math.log(told[1] / told[0])) < 0.02
    assert spoilt.mean_over_median == pytest.approx(clean.mean_over_median, rel=0.005)


@pytest.mark.parametrize(("age", "kept"), [(0.0, False), (0.02, True)])
def test_age_is_used_where_it_helps(age, kept):
    model = learn_weight(_plants(120, age=age), recipe=HEAD, settings=SETTINGS)
    assert (model.per_day != 0.0) is kept
    assert model.per_day == pytest.approx(age, abs=0.008)  # known to 0.12/(6 days · root 60) = 0.0026; three of those


def test_ranges_of_plants_hold():
    # Coverage of a split-conformal 90 % range given n held back is Beta(k, n + 1 − k); mean over many fits 0.90 to 0.92
    # for n = 50. Sixty fits of 40 new plants: the mean is known to 0.04/root(60) = 0.006.
    inside = []
    for seed in range(60):
        model = learn_weight(_plants(100, seed=seed), recipe=HEAD, settings=SETTINGS)
        new = _plants(40, seed=1000 + seed)
        told = estimate_weights(model, [p.area_mm2[0] for p in new], [p.das for p in new])
        grams = np.array([p.grams for p in new])
        known = told["weight_g"].notna().to_numpy()
        inside.append(((told["weight_low_g"] <= grams) & (grams <= told["weight_high_g"]))[known].mean())
    assert np.mean(inside) == pytest.approx(0.91, abs=0.025)


def _trays(count, *, seed=3, sd=0.04, plants=40):
    rng = np.random.default_rng(seed)
    found = []
    for i in range(count):
        area = np.exp(rng.normal(np.log(15_000), 0.25, plants))
        grams = (
            np.exp(-9.0 + 1.3 * np.log(area) + rng.normal(0, 0.12, plants)).sum() * 0.9 * math.exp(rng.normal(0, sd))
        )
        found.append(Weighed(f"W{i:02d}", "whole tray", 30.0, grams, area))
    return found


def test_tray_totals_are_calibrated_by_trays():
    # Whole trays weigh 10 % less than their plants' sum (trimmed leaves): their own departures say so, to 4 %.
    model = learn_weight([*_plants(60), *_trays(30)], recipe=HEAD, settings=SETTINGS)
    # The curve's level is known to 0.12/root(30), their median to 1.25 · 0.04/root(15): 2.6 % together, three of those.
    assert math.exp(model.tray_shift) == pytest.approx(0.9, rel=0.078)


def test_ranges_of_totals_hold():
    # 15 trays held back: coverage of a fit is Beta(15, 1), mean 15/16, sd 0.058; the mean of 20 fits, each tried on 20
    # new trays, is known to 0.018. Three of those.
    inside, errors = [], []
    for seed in range(20):
        model = learn_weight([*_plants(60, seed=seed), *_trays(30, seed=seed)], recipe=HEAD, settings=SETTINGS)
        for tray in _trays(20, seed=500 + seed):
            told = estimate_total(model, tray.area_mm2, das=30.0, settings=SETTINGS).iloc[0]
            errors.append(abs(told["weight_g"] / tray.grams - 1))
            inside.append(told["weight_low_g"] <= tray.grams <= told["weight_high_g"])
    assert np.mean(inside) == pytest.approx(15 / 16, abs=0.054)
    assert np.median(errors) <= 0.05


def test_whole_trays_alone_give_the_level():
    model = learn_weight(_trays(30), recipe=HEAD, settings=SETTINGS)
    assert model.exponent == SETTINGS.exponent
    told = estimate_total(model, _trays(1, seed=5)[0].area_mm2, das=30.0, settings=SETTINGS).iloc[0]
    assert told["weight_g"] == pytest.approx(_trays(1, seed=5)[0].grams, rel=0.15)  # three of 4 %, and the exponent
    assert "level from whole trays" in model.said


def _readings(tray):
    rows = [(0.3 + d, f"{r}{c}", 1000.0 * d * c) for d in (10, 12) for r in "AB" for c in (1, 2, 3)]
    table = pd.DataFrame(rows, columns=["das", "cell", "area_mm2"]).assign(tray=tray)
    table.loc[table["cell"] == "B3", "area_mm2"] = np.nan
    return table


def _check(*rows, columns=("tray", "cell", "date", "grams")):
    return check_weigh_ins(pd.DataFrame(rows, columns=list(columns)), trays=TRAYS)


def test_bad_weigh_ins_are_named_and_the_rest_goes_on():
    good, complaints = _check(
        ("T1", "A1", "2026-05-13", "12.5"), ("T7", "A1", "2026-05-13", 10), ("T1", "A2", "2026-05-13", "heavy"),
        ("T1", "A3", "2026-05-13", -4), ("T1", "A3", "2026-04-13", 4), ("T1", "Z9", "2026-05-13", 4),
        ("T1", "A1", "2026-05-13", 11), ("T2", "Whole Tray", date(2026, 5, 13), 300), ("T2", None, "13.5.", 1),
        ("T1", "B1", 45790, 4),
    )  # fmt: skip
    assert [str(c) for c in complaints] == [
        "weigh-ins line 3, column `tray`: no tray is called `T7`; correct the name",
        "weigh-ins line 4, column `grams`: `heavy` is not a number; write it like 12.5",
        "weigh-ins line 5, column `grams`: -4 is not above 0; correct it",
        "weigh-ins line 6, column `date`: 2026-04-13 is before the tray was sown (2026-05-01); correct one of them",
        "weigh-ins line 7, column `cell`: its tray has no cell Z9; write a name like B4, or `whole tray`",
        "weigh-ins line 8, column `date`: repeats line 2 (same tray, cell, date); only that one is used",
        "weigh-ins line 10, column `date`: `13.5.` is not a date; write it like 2026-05-14 or 14.05.2026",
        "weigh-ins line 11, column `date`: `45790` is not a date; write it like 2026-05-14 or 14.05.2026",
    ]
    assert good[["tray", "cell", "grams", "line"]].to_numpy().tolist() == [
        ["T1", "A1", 12.5, 2], ["T2", "whole tray", 300.0, 9],
    ]  # fmt: skip
    with pytest.raises(UsageError, match=r"weigh-ins: column `grams` is missing \(did you mean `gram`\?\)"):
        _check(("T1", "A1", "2026-05-13", 4), columns=("tray", "cell", "date", "gram"))


def test_weigh_ins_find_their_photo():
    good, _ = _check(
        ("T1", "A2", "2026-05-13", 5), ("T1", "", "2026-05-14", 50), ("T1", "B3", "2026-05-13", 5),
        ("T1", "A1", "2026-05-20", 5), ("T2", "A1", "2026-05-13", 5),
    )  # fmt: skip
    weighed, complaints = match_weigh_ins(good, {"T1": _readings("T1")}, trays=TRAYS, settings=SETTINGS)
    assert [(w.cell, w.das, w.grams, w.area_mm2.tolist()) for w in weighed] == [
        ("A2", 12.3, 5.0, [24_000.0]),
        ("whole tray", 12.3, 50.0, [12_000.0, 24_000.0, 36_000.0, 12_000.0, 24_000.0]),
    ]
    assert [str(c) for c in complaints] == [
        "weigh-ins line 4, column `cell`: the photo shows no plant in B3; correct the cell",
        "weigh-ins line 5, column `date`: no photo of T1 in the 1 days before; weigh plants on the day of a photo",
        "weigh-ins line 6, column `date`: no photo of T2 in the 1 days before; weigh plants on the day of a photo",
    ]


def test_decimal_commas_and_dates_with_points():
    typed = pd.DataFrame(
        {
            "tray": "T1", "cell": ["A1", "A2", "A3", "A4"],
            "date": ["14.05.2026", "14.5.2026", "2026-05-14", "14/05/2026"],
            "grams": ["12,5", "1,250", "0,125", "3"],
        }
    )  # fmt: skip
    good, complaints = check_weigh_ins(typed, trays=TRAYS)
    assert good["grams"].tolist() == [12.5, 0.125]
    assert good["date"].tolist() == [pd.Timestamp("2026-05-14")] * 2
    assert [str(c) for c in complaints] == [
        "weigh-ins line 3, column `grams`: `1,250` can mean two numbers; write it with a point, or without a thousands "
        "mark",
        "weigh-ins line 5, column `date`: `14/05/2026` is not a date; write it like 2026-05-14 or 14.05.2026",
    ]
