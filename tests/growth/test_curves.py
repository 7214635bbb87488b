from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from canopy.errors import UsageError
from canopy.growth.clock import thermal_clock
from canopy.growth.curves import CURVE_DTYPES, growth_curves
from canopy.growth.expected import expected_growth, target_of
from canopy.growth.shapes import SHAPES, ln_area, relative_rate
from canopy.readiness.recipes import recipe_for
from canopy.settings.growth import ClockSettings, CurveSettings

from .drawing import logistic_tray

SETTINGS = CurveSettings()
HEAD = recipe_for("butterhead", "finish")


@pytest.mark.parametrize("shape", SHAPES)
def test_expectation_passes_the_recipe_target(shape):
    das, area = target_of(HEAD)
    assert (das, area) == (HEAD.age.target, HEAD.size.target)
    mean = expected_growth(HEAD, shape, settings=SETTINGS).mean
    # By construction; the expolinear curve through a root that is found to 1e-12.
    assert math.exp(ln_area(shape, mean, np.array([das]))[0]) == pytest.approx(area, rel=1e-9)
    rate = SETTINGS.young_rate * (1 - 1 / SETTINGS.final_over_target_finish)
    assert relative_rate(shape, mean, np.array([das]))[0] == pytest.approx(rate, rel=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
def test_day_of_the_target_is_as_sure_as_stated_whatever_the_curve(shape):
    expected = expected_growth(HEAD, shape, settings=SETTINGS)
    # At a given day, ln area is off by rate · (days off); the day's spread is the setting's alone.
    slope = np.array([1e-4, 0, 0]), np.array([0, 1e-4, 0])
    at = np.array([HEAD.age.target])
    by = [(ln_area(shape, expected.mean + e, at) - ln_area(shape, expected.mean - e, at))[0] / 2e-4 for e in slope]
    rate = relative_rate(shape, expected.mean, at)[0]
    gradient = np.array([*by, -rate])
    assert math.sqrt(gradient @ expected.trays @ gradient) == pytest.approx(rate * SETTINGS.tray_ready_sd, rel=1e-3)


def test_recipe_of_cover_needs_the_cell_and_one_without_either_is_refused():
    mat = recipe_for("cress", "mat")
    assert target_of(mat, cell_area_mm2=1000.0)[1] == pytest.approx(1000 * mat.cover.target)
    with pytest.raises(UsageError, match="mat: growth needs a target area; give it a `size`, or a `cover`"):
        target_of(mat)


def test_curves_find_the_plants_truth():
    table, (finals, rates, _) = logistic_tray(days=np.arange(12, 46, 3))
    curves = growth_curves(table, recipe=HEAD, settings=SETTINGS)
    assert curves.pooled.shape == "logistic"
    assert curves.said.startswith("logistic; ")
    assert list(curves.table.columns) == list(CURVE_DTYPES)
    assert (curves.table["note"] == "").all()
    # Twelve readings of 4 % noise: final areas to about 3 % each, rates to about 2 %; medians do better than 3 %.
    assert np.median(np.abs(np.log(curves.table["final_area_mm2"] / finals))) < 0.03
    assert np.median(np.abs(curves.pooled.theta[:, 1] - np.log(rates))) < 0.03


def test_ranges_of_the_curves_hold():
    # 95 % ranges of ln final area over three trays of 48: 90 to 99 % may hold (shrinkage and 3 trays' own luck).
    inside = []
    for seed in (1, 2, 3):
        table, (finals, _, _) = logistic_tray(days=np.arange(14, 42, 4), seed=seed)
        fit = growth_curves(table, recipe=HEAD, settings=SETTINGS, shapes=("logistic",)).pooled
        inside.append(np.abs(fit.theta[:, 0] - np.log(finals)) < 1.96 * np.sqrt(fit.covariance[:, 0, 0]))
    assert 0.90 <= np.mean(inside) <= 0.99


def test_growth_rate_has_the_right_error():
    table, (_, rates, middles) = logistic_tray(days=np.arange(14, 32, 3))
    curves = growth_curves(table, recipe=HEAD, settings=SETTINGS)
    last = curves.table["last_das"].to_numpy()
    truth = rates / (1 + np.exp(rates * (last - middles)))  # r(1 − A/K), by algebra
    z = (curves.table["rgr_per_day"] - truth) / curves.table["rgr_se"]
    assert np.abs(z).max() < 4  # 48 normal deviates pass 4 once in 300 trays
    assert 0.3 < np.sqrt(np.mean(z**2)) < 1.5


def test_one_bad_reading_hardly_matters_and_is_named():
    table, _ = logistic_tray(days=np.arange(12, 36, 3))
    clean = growth_curves(table, recipe=HEAD, settings=SETTINGS, shapes=("logistic",))
    row = (table["plant"] == "P05") & (table["das"] == 24.0)
    for column in ("area_mm2", "area_low_mm2", "area_high_mm2"):
        table.loc[row, column] *= 0.3  # a hose lay over the plant
    spoilt = growth_curves(table, recipe=HEAD, settings=SETTINGS, shapes=("logistic",))
    assert list(zip(spoilt.odd["plant"], spoilt.odd["das"], strict=True)) == [("P05", 24.0)]
    change = np.log(spoilt.table["area_mm2"] / clean.table["area_mm2"]).abs()
    # Least squares on eight readings would move the curve there by up to ln(0.3)/8 = 15 %.
    assert change[5] < 0.03
    assert change.drop(5).max() < 0.01


def test_young_plants_have_no_final_area_of_their_own():
    table, _ = logistic_tray(days=np.arange(12, 24, 3))
    curves = growth_curves(table, recipe=HEAD, settings=SETTINGS, shapes=("logistic",))
    assert curves.table["final_area_mm2"].isna().all()
    assert (curves.table["note"] == "final area not pinned down (before the inflexion)").all()


def test_gaps_and_plants_never_seen():
    table, _ = logistic_tray(days=np.arange(12, 30, 3), plants=12)
    table.loc[table["plant"] == "P03", ["area_mm2", "area_low_mm2", "area_high_mm2"]] = np.nan
    table = table.drop(table.index[(table["plant"] == "P04") & (table["das"] > 15)])
    curves = growth_curves(table.sample(frac=1.0, random_state=1), recipe=HEAD, settings=SETTINGS)
    by_name = curves.table.set_index("plant")
    assert by_name.loc["P03", "readings"] == 0
    assert math.isnan(by_name.loc["P03", "area_mm2"])
    assert by_name.loc["P03", "note"] == "no reading"
    assert by_name.loc["P04", "readings"] == 2
    sd = dict(zip(curves.plants, np.sqrt(curves.pooled.covariance[:, 0, 0]), strict=True))
    assert sd["P03"] >= sd["P04"] >= sd["P05"]


def test_input_is_untouched_order_is_irrelevant_and_an_empty_table_has_all_columns():
    table, _ = logistic_tray(days=(12, 15, 18), plants=6)
    before = table.copy()
    first = growth_curves(table, recipe=HEAD, settings=SETTINGS)
    again = growth_curves(table.iloc[::-1], recipe=HEAD, settings=SETTINGS)
    pd.testing.assert_frame_equal(table, before)
    pd.testing.assert_frame_equal(first.table, again.table)
    empty = growth_curves(table.iloc[:0], recipe=HEAD, settings=SETTINGS)
    assert empty.table.dtypes.astype(str).to_dict() == CURVE_DTYPES
    assert len(empty.table) == 0


def test_thermal_clock_undoes_a_cold_week():
    # The same plants, half as fast in a week at a mean of 12.5 °C (8.5 of 17 °C·d): on days the curve has a kink.
    table, (finals, _, _) = logistic_tray(days=np.arange(12.0, 46.0, 3.0))
    cold = pd.DataFrame({"date": pd.date_range("2026-05-01", periods=60), "low_c": 18.0, "high_c": 24.0})
    cold.loc[20:26, ["low_c", "high_c"]] = [9.5, 15.5]
    clock, _ = thermal_clock(cold, sown_on=pd.Timestamp("2026-05-01"), settings=ClockSettings())
    late = table.assign(das=clock.das(table["das"].to_numpy()))
    curves = growth_curves(late, recipe=HEAD, settings=SETTINGS, clock=clock)
    plain = growth_curves(late, recipe=HEAD, settings=SETTINGS)
    assert np.median(np.abs(np.log(curves.table["final_area_mm2"] / finals))) < 0.03
    assert (
        np.sqrt(np.mean(curves.pooled.z**2)) * curves.pooled.sigma
        < np.sqrt(np.mean(plain.pooled.z**2)) * plain.pooled.sigma
    )
    np.testing.assert_allclose(curves.das_of(curves.age(np.array([30.0]))[:, 0]), 30.0, atol=1e-6)


def test_a_cut_plant_grows_on_as_one_of_its_size():
    # Half of the plants cut on day 31 back to what they were on day 15: then they are 16 days behind, by construction.
    days = np.arange(12.0, 31.0, 3.0)
    table, (finals, rates, middles) = logistic_tray(days=days, plants=20)
    after = np.arange(33.0, 45.0, 3.0)
    true = finals[:, None] / (1 + np.exp(-rates[:, None] * (after[None, :] - 16 - middles[:, None])))
    regrown = table.iloc[: 20 * len(after)].assign(
        plant=np.repeat([f"P{i:02d} cut 1" for i in range(20)], len(after)), das=np.tile(after, 20),
        area_mm2=true.ravel(), area_low_mm2=0.9 * true.ravel(), area_high_mm2=1.1 * true.ravel(), regrown=True,
        start_das=31.0,
    )  # fmt: skip
    both = pd.concat([table.assign(regrown=False, start_das=0.0), regrown], ignore_index=True)
    ahead = np.array([52.0])
    truth = np.log(finals / (1 + np.exp(-rates * (52.0 - 16 - middles))))
    off = []
    for rows in (both, both.drop(columns="regrown")):
        curves = growth_curves(rows, recipe=HEAD, settings=SETTINGS, shapes=("logistic",))
        cut = np.array(["cut" in name for name in curves.plants])
        assert (curves.starts[~cut] == 0).all()
        off.append(np.median(np.abs(curves.pooled.ln_area(curves.age(ahead))[cut, 0] - truth)))
    # Ten days past the last of four readings; started at the cut they would be taken for seedlings.
    assert off[0] < 0.5 * off[1]
