"""The command `plan`, as it is typed."""

from __future__ import annotations

import csv
import json

import pytest
from outlook.drawn_farm import TRAYS, make_farm

from .typed import run

ON = ("--on", "2026-06-01")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return make_farm(tmp_path_factory.mktemp("farm") / "photos")


def _rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_orders_are_met_or_said_to_be_short(capsys, folder, tmp_path):
    file = tmp_path / "mine.csv"
    file.write_text("order;crop;due;heads;grams\nmarket;butterhead;03.06.2026;4;\nbig;butterhead;2026-06-06;90;\n")
    code, out, err = run(capsys, "plan", folder, *ON, "--orders", file, "--out", tmp_path / "t")
    assert code == 1
    assert err.startswith("canopy: order big falls short: ")
    filled = {row["order"]: row for row in _rows(tmp_path / "t" / "filled.csv")}
    assert list(filled) == ["big", "market"]
    assert filled["market"]["planned"] == "4"
    cuts = _rows(tmp_path / "t" / "cuts.csv")
    assert sum(row["order"] == "market" for row in cuts) == 4
    assert {row["date"] for row in cuts if row["order"] == "market"} <= {"2026-06-02", "2026-06-03"}
    assert all(float(row["sure"]) >= 0.8 for row in cuts)
    assert "2026-06-0" in out


def test_all_met_is_exit_code_0_and_json_holds_all(capsys, folder, tmp_path):
    file = tmp_path / "orders.csv"
    file.write_text("crop,due,heads\nbutterhead,2026-06-05,3\n")
    code, out, _ = run(capsys, "plan", folder, *ON, "--tables", tmp_path, "--json")
    told = json.loads(out)
    assert code == told["exit_code"] == 0
    assert len(told["cuts"]) == 3
    assert told["filled"][0]["order"] == "line 2"


def test_whole_trays(capsys, folder, tmp_path):
    file = tmp_path / "orders.csv"
    file.write_text("crop,due,heads\nbutterhead,2026-06-07,20\n")
    _, out, _ = run(capsys, "plan", folder, *ON, "--orders", file, "--whole-tray", "--json")
    cuts = json.loads(out)["cuts"]
    assert {len([c for c in cuts if c["tray"] == tray]) for tray in {c["tray"] for c in cuts}} <= {24}


def test_a_waiting_time_and_plants_to_inspect_hold_back(capsys, tmp_path):
    lines = TRAYS.replace("sown_on\n", "sown_on,treated_on,interval_days\n")
    lines = lines.replace(
        "T1,4x6,200,1250x850,butterhead,finish,2026-05-01",
        "T1,4x6,200,1250x850,butterhead,finish,2026-05-01,2026-05-30,30",
    )
    lines = lines.replace(
        "T2,4x6,200,1250x850,butterhead,finish,2026-05-01", "T2,4x6,200,1250x850,butterhead,finish,2026-05-01,,"
    )
    folder = make_farm(tmp_path / "p", trays=lines)
    (folder / "orders.csv").write_text("crop,due,heads\nbutterhead,2026-06-05,40\n")
    _, out, _ = run(capsys, "plan", folder, *ON, "--json")
    told = json.loads(out)
    assert {cut["tray"] for cut in told["cuts"]} == {"T2"}
    assert any(line.startswith("T1: not before 2026-06-29, waiting time after a treatment") for line in told["said"])


def test_no_orders_file(capsys, folder):
    code, _, err = run(capsys, "plan", folder, *ON)
    assert code == 2
    assert err.endswith("orders.csv: no such table; write one (crop, due, heads), or name it with --orders\n")
