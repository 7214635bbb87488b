"""The room from end to end on one small tray: readings as tables carry them, one photo taken of the tray turned."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from canopy.growth import (
    check_weigh_ins,
    departures,
    estimate_weights,
    forecast_tray,
    growth_curves,
    learn_weight,
    line_up,
    match_weigh_ins,
    watch,
    when_touching,
)
from canopy.readiness.recipes import recipe_for
from canopy.records import Layout, TrayRecord, cell_name
from canopy.settings import GrowthSettings

SETTINGS = GrowthSettings()
HEAD = recipe_for("butterhead", "finish")
LAYOUT = Layout(
    name="4x6", rows=4, columns=6, pitch_x_mm=200, pitch_y_mm=200, outline_width_mm=1250, outline_height_mm=850
)
TRAY = TrayRecord(tray="T1", layout=LAYOUT, crop="butterhead", stage="finish", sown_on=date(2026, 5, 1))


def _readings():
    rng = np.random.default_rng(6)
    final, middle = 60_000 * np.exp(rng.normal(0, 0.2, (4, 6))), 32 + rng.normal(0, 1, (4, 6))
    photos = []
    for das in range(16, 34, 3):
        area = final / (1 + np.exp(-0.25 * (das + 1 / 3 - middle))) * np.exp(rng.normal(0, 0.04, (4, 6)))
        seen = area[::-1, ::-1] if das == 22 else area
        photos.append(
            pd.DataFrame(
                [
                    ("T1", f"{date(2026, 5, 1) + pd.Timedelta(days=das)}"[:10] + "T08:00:00", r + 1, c + 1,
                     cell_name(r + 1, c + 1), "planted", das, seen[r, c], 0.9 * seen[r, c], 1.1 * seen[r, c],
                     1.2 * np.sqrt(seen[r, c]))
                    for r in range(4) for c in range(6)
                ],
                columns=["tray", "taken_at", "row", "col", "cell", "state", "das", "area_mm2", "area_low_mm2",
                         "area_high_mm2", "diameter_mm"],
            )
        )  # fmt: skip
    return pd.concat(photos, ignore_index=True), final, middle


def test_from_readings_to_decisions():
    readings, final, middle = _readings()
    history = line_up(readings, tray=TRAY, settings=SETTINGS.history)
    assert history.turns["turned"].tolist() == [False, False, True, False, False, False]
    curves = growth_curves(history.curves(), recipe=HEAD, settings=SETTINGS.curve)
    assert curves.plants == tuple(sorted(LAYOUT.names()))
    assert len(curves.odd) == 0  # a tray left turned would be full of odd readings
    told = forecast_tray(curves, recipe=HEAD, tray=TRAY, today=date(2026, 6, 1), settings=SETTINGS.forecast)
    truth = (middle - np.log(final / 32_000 - 1) / 0.25).ravel()
    by_cell = told.plants.set_index("plant").loc[LAYOUT.names()]
    held = (by_cell["ready_low_das"] <= truth) & (truth <= by_cell["ready_high_das"])
    # 24 plants of one tray share its luck; a 90 % range that held for less than 18 of them would be no such range.
    assert held.sum() >= 18
    touch = when_touching(curves, history.curves(), layout=LAYOUT, today_das=31, settings=SETTINGS.forecast)
    assert 31 <= touch.low_das <= touch.das <= touch.high_das
    off = departures(history.curves(), recipe=HEAD, curve=SETTINGS.curve, watch=SETTINGS.watch)
    alerts = watch(off, tray=TRAY, settings=SETTINGS.watch).alerts
    assert set(alerts["what"]) <= {"cell"}


def test_weigh_ins_of_a_tray_give_its_weights():
    readings, _, _ = _readings()
    history = line_up(readings, tray=TRAY, settings=SETTINGS.history)
    last = history.table[history.table["das"] > 31]
    typed = pd.DataFrame({"tray": "T1", "cell": last["cell"], "date": "2026-06-01", "grams": 0.002 * last["area_mm2"]})
    weigh_ins, none = check_weigh_ins(typed, trays={"T1": TRAY})
    weighed, nothing = match_weigh_ins(weigh_ins, {"T1": history.table}, trays={"T1": TRAY}, settings=SETTINGS.weight)
    assert (none, nothing) == ((), ())
    model = learn_weight(weighed, recipe=HEAD, settings=SETTINGS.weight)
    told = estimate_weights(model, last["area_mm2"], last["das"])
    # 0.2 g per cm² exactly: the power law has it, with exponent 1, to the readings' own digits.
    np.testing.assert_allclose(told["weight_g"], 0.002 * last["area_mm2"], rtol=1e-6)
