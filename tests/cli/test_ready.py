"""The command `ready`, as it is typed."""

from __future__ import annotations

import csv
import json

from outlook.drawn_farm import make_farm

from .typed import run


def test_what_is_ready_now(capsys, tmp_path):
    folder = make_farm(tmp_path / "p")
    code, out, err = run(capsys, "ready", folder, "--on", "2026-06-01", "--out", tmp_path / "t")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0].split() == ["tray", "crop", "stage", "das", "plants", "offered", "inspect", "wait", "pull", "said"]
    with (tmp_path / "t" / "cells.csv").open(encoding="utf-8", newline="") as file:
        cells = list(csv.DictReader(file))
    assert len(cells) == 48
    assert {cell["decision"] for cell in cells} <= {"harvest", "wait", "inspect"}
    (folder / "measured.csv").write_text("tray,date,ec\nT1,2026-06-01,high\n")
    code, out, err = run(capsys, "ready", folder, "T1", "--on", "2026-06-01", "--json")
    told = json.loads(out)
    assert code == told["exit_code"] == 1
    assert told["complaints"] == ["measured line 2, column `ec`: `high` is not a number; write it like 12.5"]
