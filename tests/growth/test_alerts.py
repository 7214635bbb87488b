from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from canopy.growth.alerts import ALERT_DTYPES, watch
from canopy.growth.beside import Departures, departures
from canopy.growth.charts import run_length
from canopy.readiness.recipes import recipe_for
from canopy.records import Layout, TrayRecord
from canopy.settings.growth import CurveSettings, WatchSettings

SETTINGS = WatchSettings(smoothing=0.3, false_alarms=1.0)
LAYOUT = Layout(
    name="4x8", rows=4, columns=8, pitch_x_mm=50, pitch_y_mm=50, outline_width_mm=420, outline_height_mm=220
)
TRAY = TrayRecord(tray="T1", layout=LAYOUT, sown_on=date(2026, 5, 1))
NAMES = tuple(sorted(LAYOUT.names()))
ROW = np.array([ord(name[0]) - ord("A") for name in NAMES])


DAILY = np.arange(6.0, 18.0)


def _departures(z, *, tray_z=None, ln=None):
    photos = len(z)
    tray_z = np.zeros(photos) if tray_z is None else np.asarray(tray_z, dtype=float)
    return Departures(np.arange(10.0, 10 + photos), NAMES, 0.05 * z if ln is None else ln, z, 0.05 * tray_z, tray_z)


def _noise(photos, *, seed=1):
    return np.random.default_rng(seed).normal(size=(photos, len(NAMES)))


def test_false_alarms_are_as_stated():
    # 13 charts of independent departures over 4000 photos: 1 in 100 is stated, so 40 are expected. Each chart may ring
    # in runs, counted once; clipping at 2.5 takes 1.5 % off the spread, a sixth off the rate. Poisson: 40 ± 3 · 6.3.
    rng = np.random.default_rng(3)
    found = watch(_departures(rng.normal(size=(4000, 32)), tray_z=rng.normal(size=4000)), tray=TRAY, settings=SETTINGS)
    assert 15 <= (found.alerts["what"] != "cell").sum() <= 59
    assert found.said.startswith("13 charts with a limit of 3.")
    assert run_length(found.limit, smoothing=0.3) == pytest.approx(100 * 13 / 2, rel=1e-6)


def test_single_cells_are_named_wrongly_as_seldom_as_stated():
    # Benjamini-Hochberg where nothing is wrong: any cell is named on at most 5 % of photos; half of them lie above.
    # Departures of Student's t as assumed: 2000 photos give 50 ± 3 · 7.
    rng = np.random.default_rng(4)
    z = rng.standard_t(SETTINGS.cell_dof, size=(2000, 32))
    found = watch(_departures(z), tray=TRAY, settings=SETTINGS)
    assert found.alerts[found.alerts["what"] == "cell"]["das"].nunique() <= 71


def test_a_row_that_falls_behind_is_named_with_its_day_and_a_hint():
    z = _noise(12)
    z[6:, ROW == 3] -= 2.0
    ln = np.where(ROW == 3, np.log(0.88), 0.0) + 0.0 * z
    found = watch(_departures(z, ln=ln), tray=TRAY, settings=SETTINGS)
    rows = found.alerts[found.alerts["what"] == "row"]
    assert rows["name"].tolist() == ["D"]
    assert 16 <= rows["das"].iloc[0] <= 18
    assert rows["said"].iloc[0] == (
        "row D falls behind since 2026-05-17 (12 % below its forecast, beside the rest of the tray): "
        "look along it first: dripper, light, draught"
    )
    assert rows["since_das"].iloc[0] == 16


def test_rows_that_do_better_ring_no_bell_and_one_dead_plant_is_no_row():
    z = _noise(12)
    z[6:, ROW == 3] += 2.0
    z[6:, NAMES.index("B4")] = -40.0
    found = watch(_departures(z), tray=TRAY, settings=SETTINGS)
    assert set(found.alerts["what"]) == {"cell"}
    assert set(found.alerts["name"]) == {"B4"}
    assert found.alerts["das"].tolist() == [16, 17, 18, 19, 20, 21]
    assert found.alerts["said"].iloc[0].endswith("its forecast on 2026-05-17: look at this plant")


def test_a_tray_that_falls_behind_as_a_whole():
    found = watch(_departures(_noise(10), tray_z=[0] * 5 + [-4] * 5), tray=TRAY, settings=SETTINGS)
    whole = found.alerts[found.alerts["what"] == "tray"]
    # By hand: 0.3 · −4 = −1.2 lies within 3.1 · 0.42 = 1.3, 0.7 · −1.2 − 1.2 = −2.04 beyond.
    assert whole["das"].tolist() == [16]
    assert whole["since_das"].tolist() == [15]
    assert whole["said"].iloc[0].startswith("tray T1 falls behind since 2026-05-16 (18 % below its forecast): look at")


def test_it_rings_again_only_after_it_was_well():
    tray_z = [-6.0] * 4 + [6.0] * 4 + [-6.0] * 4
    found = watch(_departures(_noise(12), tray_z=tray_z), tray=TRAY, settings=SETTINGS)
    assert (found.alerts["what"] == "tray").sum() == 2


def test_no_photos_and_short_lines():
    none = watch(_departures(np.zeros((0, 32))), tray=TRAY, settings=SETTINGS)
    assert none.alerts.dtypes.astype(str).to_dict() == ALERT_DTYPES
    assert len(none.alerts) == len(none.lines) == 0
    z = _noise(6)
    z[:, ROW != 0] = np.nan
    found = watch(_departures(z), tray=TRAY, settings=SETTINGS)
    assert found.lines[found.lines["what"] == "column"]["z"].isna().all()
    with pytest.raises(ValueError, match="plant '4B' is not named by its cell"):
        watch(
            Departures(np.zeros(0), ("4B",), *[np.zeros((0, 1))] * 2, np.zeros(0), np.zeros(0)),
            tray=TRAY,
            settings=SETTINGS,
        )


def _growing(*, slow=None, wilt=None, seed=1, days=DAILY):
    """Seedlings whose rate falls from 0.25 a day; row D may grow 15 % slower from day 10, one photo may be wilted."""
    rng = np.random.default_rng(seed)
    rate = 0.25 * np.exp(rng.normal(0, 0.06, len(NAMES)))[:, None]
    lost = 0.15 * np.maximum(days - 10, 0) if slow is not None else 0.0 * days
    t = (days - 6)[None, :] - np.where((slow == ROW)[:, None] if slow is not None else False, lost, 0.0)
    ln = np.log(60) + rng.normal(0, 0.25, len(NAMES))[:, None] + rate * t - 0.004 * (days - 6) ** 2
    ln += rng.normal(0, 0.04, ln.shape) + rng.normal(0, 0.01, len(days))
    if wilt is not None:
        ln[:, days == wilt] += np.log(0.6)
    area = np.exp(ln).ravel()
    return pd.DataFrame(
        {
            "plant": np.repeat(NAMES, len(days)), "das": np.tile(days, len(NAMES)), "area_mm2": area,
            "area_low_mm2": 0.92 * area, "area_high_mm2": 1.08 * area,
        }
    )  # fmt: skip


def _judge(table):
    recipe = recipe_for("butterhead", "seedling")
    off = departures(table, recipe=recipe, curve=CurveSettings(), watch=SETTINGS)
    return off, watch(off, tray=TRAY, settings=SETTINGS).alerts


def test_a_row_growing_15_percent_slower_is_named_within_days():
    off, alerts = _judge(_growing(slow=3))
    assert off.das.tolist() == list(range(9, 18))
    rows = alerts[alerts["what"] == "row"]
    assert rows["name"].tolist() == ["D"]
    assert 10 < rows["das"].iloc[0] <= 15


def test_a_wilted_tray_is_seen_on_the_day_and_taken_off_the_cells():
    off, alerts = _judge(_growing(wilt=14.0))
    day = off.das.tolist().index(14.0)
    # All plants lost 40 %: the tray's departure says so, to the 5 % that curve and photo are known to.
    assert off.tray_ln[day] == pytest.approx(np.log(0.6), abs=0.15)
    assert np.abs(np.nanmedian(off.ln[day])) < 1e-12
    tray = alerts[alerts["what"] == "tray"]
    assert tray["das"].tolist()[:1] == [14.0]


def test_too_few_photos_and_input_untouched():
    table = _growing(days=np.arange(6.0, 9.0))
    before = table.copy()
    off, alerts = _judge(table)
    assert len(off.das) == len(alerts) == 0
    pd.testing.assert_frame_equal(table, before)


def test_of_a_lasting_departure_of_the_tray_only_what_is_new_counts():
    rng = np.random.default_rng(5)
    days = np.arange(8.0, 18.0)
    area = np.exp(4.0 + 0.25 * (days - 8)[None, :] + rng.normal(0, 0.2, (32, 1)) + rng.normal(0, 0.03, (32, 10)))
    table = pd.DataFrame({"plant": np.repeat(NAMES, 10), "das": np.tile(days, 32), "area_mm2": area.ravel()})
    table = table.assign(area_low_mm2=0.95 * table["area_mm2"], area_high_mm2=1.05 * table["area_mm2"])
    recipe = recipe_for("butterhead", "seedling")
    none, half = (
        departures(table, recipe=recipe, curve=CurveSettings(), watch=WatchSettings(tray_memory=share))
        for share in (0.0, 0.5)
    )
    np.testing.assert_array_equal(none.tray_ln, half.tray_ln)
    sd = none.tray_ln / none.tray_z
    before = np.concatenate([[0.0], none.tray_ln[:-1]])
    np.testing.assert_allclose(half.tray_z, (none.tray_ln - 0.5 * before) / sd, rtol=1e-12)
