"""The sum of one cell on the screen: whoever redoes it with the printed numbers gets the printed score."""

from __future__ import annotations

import json
import math
import re

import pandas as pd

from canopy.cli.app import main

from .conftest import HEADER

PHOTO = "R1_2026-03-20_0530.png"


def _explain(capsys, *arguments):
    code = 0
    try:
        main(["explain", *map(str, arguments)])
    except SystemExit as stopped:
        code = stopped.code or 0
    told = capsys.readouterr()
    return code, told.out, told.err


def test_the_printed_line_can_be_redone_and_agrees_with_the_table(farm, scored, capsys):
    code, out, err = _explain(capsys, farm.folder / PHOTO, "b2")
    assert (code, err) == (0, "")
    assert out.startswith("Cell B2: Disc lettuce, seedling (disc_lettuce, seedling), 22 days after sowing")
    code, out, _ = _explain(capsys, farm.folder / PHOTO, "A1")
    printed, product = re.search(r"In one line: (\d+) = 100 · (.*?)(?: — .*)?$", out, re.MULTILINE).groups()
    terms = re.findall(r"(\d*\.\d+)\^(\d*\.\d+)", product)
    assert round(100 * math.prod(float(d) ** float(w) for d, w in terms)) == int(printed)
    row = pd.read_csv(scored / "cells.csv").set_index(["tray", "cell"]).loc[("R1", "A1")]
    assert round(row["readiness"]) == int(printed)
    assert f"Decision: {row['decision']} " in out


def test_json_for_machines(farm, capsys):
    _, out, _ = _explain(capsys, farm.folder / PHOTO, "A1", "--json")
    told = json.loads(out)
    assert (told["photo"], told["tray"], told["cell"], told["decision"]) == (PHOTO, "R1", "A1", "transplant")
    assert told["lines"][0].startswith("Cell A1:")


def test_an_empty_cell(farm, capsys):
    _, out, _ = _explain(capsys, farm.folder / PHOTO, "A5")
    assert "No living plant in this cell" in out


def test_a_tray_without_a_crop_is_measured_and_not_scored(farm, tmp_path, capsys):
    trays = tmp_path / "list.csv"
    trays.write_text(HEADER + f"{PHOTO},R1,3x5,50,270x170,,,,,\n")
    code, out, _ = _explain(capsys, farm.folder / PHOTO, "A1", "--trays", trays)
    assert code == 0
    assert out.startswith("Cell A1: planted. Leaf area 1.8 cm²")  # 7.5 mm: 177 mm²
    assert out.endswith("Not scored: the tray list names no crop for this tray.\n")


def test_a_cell_that_the_tray_has_not(farm, capsys):
    code, _, err = _explain(capsys, farm.folder / PHOTO, "D1")
    assert (code, err) == (2, "canopy: cell `D1`: tray R1 has cells A1 to C5 only\n")


def test_a_photo_that_gives_no_reading(farm, tmp_path, capsys):
    (tmp_path / "R1_empty.jpg").write_bytes(b"")
    code, _, err = _explain(
        capsys, tmp_path / "R1_empty.jpg", "A1", "--trays", _list(tmp_path), "--settings", farm.folder / "canopy.toml"
    )
    assert (code, err) == (1, "set aside: R1_empty.jpg: file is empty; copy the photo again from the camera\n")


def test_a_photo_whose_line_is_wrong(farm, tmp_path, capsys):
    (tmp_path / "list.csv").write_text(f"photo,tray,layout\n{PHOTO},R1,73\n")
    code, _, err = _explain(capsys, farm.folder / PHOTO, "A1", "--trays", tmp_path / "list.csv")
    assert code == 2
    assert err.startswith("canopy: list.csv, line 2, column `layout`: `73` is not known")


def test_a_photo_that_is_not_there(farm, capsys):
    code, _, err = _explain(capsys, farm.folder / "nothing.jpg", "A1")
    assert code == 2
    assert "nothing.jpg" in err


def _list(folder):
    path = folder / "list.csv"
    path.write_text(HEADER + "R1_*,R1,3x5,50,270x170,disc lettuce,seedling,2026-02-26,0,20000\n")
    return path
