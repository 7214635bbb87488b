"""The commands on days to come, as they are typed."""

from __future__ import annotations

import csv
import json

import pytest
from outlook.drawn_farm import make_farm

from .typed import run

ON = ("--on", "2026-06-01")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return make_farm(tmp_path_factory.mktemp("farm") / "photos", slow_row=2)


def _rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_grow_says_how_trays_grow_and_where_to_look(capsys, folder, tmp_path):
    code, out, err = run(capsys, "grow", folder, *ON, "--out", tmp_path / "t")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0].split() == [
        "tray", "crop", "stage", "das", "plants", "photos", "last_photo", "area_mm2", "rgr_per_day", "curve", "alerts",
    ]  # fmt: skip
    assert lines[1].split()[:7] == ["T1", "butterhead", "finish", "31", "24", "6", "2026-06-01"]
    # Row C was drawn to fall back by 6 % a day from day 22 on.
    assert any("row C falls behind since 2026-05-2" in line and "look along it first" in line for line in lines)
    assert [row["tray"] for row in _rows(tmp_path / "t" / "growth.csv")] == ["T1", "T2"]
    plants = _rows(tmp_path / "t" / "plants.csv")
    assert len(plants) == 48
    assert plants[0]["cell"] == plants[0]["plant"] == "A1"
    assert float(plants[0]["weight_g"] or 0) >= 0


def test_forecast_says_when_and_how_much(capsys, folder, tmp_path):
    code, out, _ = run(capsys, "forecast", folder, "T2", *ON, "--out", tmp_path / "t")
    assert code == 0
    days = _rows(tmp_path / "t" / "days.csv")
    assert [day["date"] for day in days][:2] == ["2026-06-02", "2026-06-03"]
    assert len(days) == 14
    numbers = [float(day["ready"]) for day in days]
    assert numbers == sorted(numbers)
    assert "2026-06-15" in out  # the last of them, on the screen
    row = _rows(tmp_path / "t" / "forecast.csv")[0]
    assert row["ready_from"] <= row["ready_on"] <= row["ready_until"]
    assert row["late_on"] == "2026-06-30"  # day 60 is the last of the recipe's age
    ready = _rows(tmp_path / "t" / "ready.csv")
    assert len(ready) == 24
    assert all(row["best_on"] >= "2026-06-01" for row in ready if row["best_on"])
    assert any(row["best_on"] for row in ready)


def test_forecast_for_machines(capsys, folder):
    code, out, _ = run(capsys, "forecast", folder, *ON, "--json")
    told = json.loads(out)
    assert code == told["exit_code"] == 0
    assert [row["tray"] for row in told["forecast"]] == ["T1", "T2"]
    assert told["days"][0]["grams_low"] is None  # nothing was weighed


def test_bad_lines_are_named_and_the_rest_goes_on(capsys, folder, tmp_path):
    kept = tmp_path / "kept"
    kept.mkdir()
    (kept / "weigh_ins.csv").write_text("tray,cell,date,grams\nT1,A1,2026-06-01,heavy\n")
    code, out, err = run(capsys, "grow", folder, *ON, "--tables", kept)
    assert code == 1
    assert err == "canopy: weigh-ins line 2, column `grams`: `heavy` is not a number; write it like 12.5\n"
    assert "T2" in out


def test_a_day_that_is_none_and_a_tray_that_is_none(capsys, folder):
    assert run(capsys, "grow", folder, "--on", "1.6.2026")[::2] == (
        2, "canopy: --on `1.6.2026` is not a day; write it like 2026-05-14\n",
    )  # fmt: skip
    code, _, err = run(capsys, "grow", folder, "T7", *ON)
    assert code == 2
    assert err.startswith("canopy: T7: no tray of this id has readings")


def test_the_same_readings_give_the_same_bytes(capsys, folder, tmp_path):
    for name in ("a", "b"):
        run(capsys, "forecast", folder, *ON, "--out", tmp_path / name)
    assert (tmp_path / "a" / "ready.csv").read_bytes() == (tmp_path / "b" / "ready.csv").read_bytes()
