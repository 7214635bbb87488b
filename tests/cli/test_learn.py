"""The command `learn`, as it is typed."""

from __future__ import annotations

import json

import pytest
from outlook.drawn_farm import TRAYS, areas, make_farm

from canopy.readiness.recipes import recipes_from_toml

from .typed import run

CELLS = [f"{r}{c}" for r in "ABCD" for c in range(1, 7)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Two trays noted on three days each; right is what was above 20,000 mm², though the recipe wants 32,000."""
    folder = make_farm(tmp_path_factory.mktemp("farm") / "photos")
    (folder / "canopy.toml").write_text("[learn]\nleast_trays = 2\n")
    lines = ["tray;cell;date;outcome"]
    for number in (1, 2):
        for das, day in ((25, "26.05.2026"), (28, "29.05.2026"), (31, "01.06.2026")):
            for cell, area in zip(CELLS, areas(number, das + 1 / 3).ravel(), strict=True):
                lines.append(f"T{number};{cell};{day};{'right' if area > 20_000 else 'too early'}")
    (folder / "outcomes.csv").write_text("\n".join([*lines, "T1;A1;2026-04-01;right", "T1;A2;2026-05-03;meh"]) + "\n")
    return folder


def test_proposals_come_with_their_evidence_and_nothing_is_written(capsys, folder):
    code, out, err = run(capsys, "learn", folder)
    assert code == 1  # two lines were left out
    assert "outcomes line 146, column `date`: " in err
    assert "no outcome is called `meh`" in err
    lines = out.splitlines()
    assert lines[0].startswith("butterhead finish: error on trays it was not learnt from ")
    assert lines[1].split() == ["recipe", "error", "right_offered", "wrong_offered"]
    assert any(line.split()[:2] == ["size", "target"] for line in lines)
    assert not (folder / "learnt.toml").exists()


def test_a_recipe_is_written_only_when_asked_and_never_over_another(capsys, folder, tmp_path):
    file = tmp_path / "learnt.toml"
    _, out, _ = run(capsys, "learn", folder, "--write", file, "--json")
    told = json.loads(out)
    assert told["recipes"][0]["better"]
    assert told["written"] == ["butterhead finish"]
    read = recipes_from_toml(file.read_text(), source_name="learnt.toml")["butterhead", "finish"]
    assert read.size.target < 32_000
    code, _, err = run(capsys, "learn", folder, "--write", file)
    assert code == 2
    assert "is there already and is not overwritten" in err


def test_no_outcomes(capsys, tmp_path):
    code, _, err = run(capsys, "learn", make_farm(tmp_path / "p", trays=TRAYS))
    assert code == 2
    assert err.endswith("outcomes.csv: no such table; write one (tray, cell, date, outcome)\n")


def test_outcomes_by_weight(capsys, tmp_path):
    folder = make_farm(tmp_path / "p")
    (folder / "outcomes.csv").write_text(
        "tray,cell,date,grams,min_g,max_g\nT1,A1,2026-06-01,55,50,90\nT1,A2,2026-06-01,40,50,90\nT1,A3,2026-06-01,,50,90\n"
    )
    code, out, err = run(capsys, "learn", folder)
    assert code == 1
    assert "outcomes line 4, column `grams`" in err
    assert "2 usable outcomes of 1 trays, 1 of them right" in out
