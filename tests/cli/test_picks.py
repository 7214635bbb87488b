"""The command `picks`, as it is typed."""

from __future__ import annotations

import csv
import json

import pytest
from jsonschema import Draft202012Validator
from outlook.drawn_farm import areas, make_farm

from canopy.outputs.machine import pick_list_schema

from .typed import run

ON = ("--on", "2026-06-01")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return make_farm(tmp_path_factory.mktemp("farm") / "photos")


def _read(out):
    with (out / "pick_list.csv").open(encoding="utf-8", newline="") as file:
        return json.loads((out / "pick_list.json").read_text()), list(csv.DictReader(file))


def test_what_the_last_photos_decided(capsys, folder, tmp_path):
    code, out, err = run(capsys, "picks", folder, *ON, "--out", tmp_path / "p")
    assert (code, err) == (0, "")
    assert "Caution: Advice from a photo, never leave to move." in out
    data, rows = _read(tmp_path / "p")
    Draft202012Validator(pick_list_schema()).validate(data)
    picked = {tray["tray"]: len(tray["picks"]) for tray in data["trays"]}
    # Drawn areas of 32,000 mm² and more, but for the noise of 3 % in the photo.
    for number, tray in enumerate(("T1", "T2"), start=1):
        assert picked[tray] == pytest.approx((areas(number, 31 + 1 / 3) >= 32_000).sum(), abs=3)
    assert sum(row["action"] == "pick" for row in rows) == sum(picked.values())
    assert len(rows) == 48


def test_the_cuts_of_a_plan_less_what_was_cut_since(capsys, folder, tmp_path):
    (tmp_path / "cuts.csv").write_text(
        "date,tray,cell,order\n2026-06-01,T1,B2,market\n2026-06-01,T1,A1,market\n2026-06-02,T1,C3,late\n"
        "2026-06-01,T9,A1,\n"
    )
    kept = tmp_path / "kept"
    kept.mkdir()
    (kept / "events.csv").write_text("tray,cell,date,event\nT1,A1,2026-06-01,harvested\n")
    code, _, err = run(
        capsys, "picks", folder, "T1", *ON, "--cuts", tmp_path / "cuts.csv", "--tables", kept, "--out", tmp_path / "p"
    )
    assert code == 1
    assert "cuts line 5, column `tray`: no tray with readings is called `T9`" in err
    data, _ = _read(tmp_path / "p")
    assert [(pick["cell"], pick["for_order"]) for pick in data["trays"][0]["picks"]] == [("B2", "market")]


def test_old_photos_are_refused(capsys, folder, tmp_path):
    code, _, err = run(capsys, "picks", folder, "--on", "2026-06-05", "--out", tmp_path / "p")
    assert code == 1
    assert "refused: T1: its last photo is 112 hours old, limit 24; take a new one" in err
    data, rows = _read(tmp_path / "p")
    assert data["trays"] == rows == []
    assert [refused["tray"] for refused in data["refused"]] == ["T1", "T2"]
