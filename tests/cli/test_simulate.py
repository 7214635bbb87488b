"""The command `simulate`."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from canopy.batch.score import score_photos
from canopy.cli.app import main
from canopy.synthetic.kinds import KINDS

SMALL = ("--width", "320", "--height", "240")


def _run(capsys, *arguments):
    code = 0
    try:
        main(["simulate", *(str(argument) for argument in arguments)])
    except SystemExit as stopped:
        code = stopped.code or 0
    told = capsys.readouterr()
    return code, told.out, told.err


def test_kinds_are_listed_for_people_and_machines(capsys):
    code, out, _ = _run(capsys, "--list")
    assert code == 0
    assert [line.split()[0] for line in out.splitlines()[1:]] == list(KINDS)
    _, out, _ = _run(capsys, "--list", "--json")
    assert [kind["kind"] for kind in json.loads(out)["kinds"]] == list(KINDS)


def test_says_what_was_written_and_what_to_do_next(capsys, tmp_path):
    out_dir = tmp_path / "drawn"
    code, out, err = _run(capsys, "--out", out_dir, "--kind", "rosettes", "--kind", "rosettes", "--seed", 7, *SMALL)
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        f"Written: {out_dir / 'rosettes_00007.jpg'}",
        f"Written: {out_dir / 'trays.csv'}, {out_dir / 'truth.csv'} and masks/",
        f"Score them: canopy score {out_dir} --out results",
    ]


def test_drawn_photos_can_be_scored(capsys, tmp_path):
    size = ("--width", 1000, "--height", 750)
    code, out, _ = _run(capsys, "--out", tmp_path / "in", "--kind", "rosettes", "--seed", 2, "--json", *size)
    assert (code, json.loads(out)) == (0, {"photos": ["rosettes_00002.jpg"]})
    assert score_photos([tmp_path / "in"], out=tmp_path / "out", workers=1).exit_code == 0
    truth, cells = (pd.read_csv(tmp_path / name) for name in ("in/truth.csv", "out/cells.csv"))
    both = truth.merge(cells, on="cell", suffixes=("_true", ""))
    assert len(both) == len(truth) == len(cells)
    assert both.area_mm2.corr(both.area_mm2_true) > 0.9  # measured cells follow the true ones, by name


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "--out: is missing; name a folder for the pictures"),
        (
            ("--out", "x", "--kind", "algea"),
            "--kind: `algea` is not known; did you mean `algae`? `canopy simulate --list`",
        ),
        (("--out", "x", "--kind", "zzz"), "--kind: `zzz` is not known; `canopy simulate --list` shows all kinds"),
        (("--out", "x", "--kinds", "--kind", "mat"), "--kinds: draws every kind; leave --kind or --kinds away"),
        (("--out", "x", "--count", "0"), "--count: is 0; give 1 or more"),
        (("--out", "x", "--days", "-1"), "--days: is -1; give 1 or more"),
        (("--out", "x", "--seed", "-1"), "--seed: is -1; give 0 or more"),
        (("--out", "x", "--width", "10"), "--width: is 10; give 64 to 12000 pixels"),
        (("--out", "x", "--height", "99999"), "--height: is 99999; give 64 to 12000 pixels"),
    ],
)
def test_what_cannot_be_drawn_is_one_line_and_exit_code_2(capsys, tmp_path, monkeypatch, arguments, message):
    monkeypatch.chdir(tmp_path)
    code, out, err = _run(capsys, *arguments)
    assert (code, out) == (2, "")
    assert err.startswith(f"canopy: {message}")
    assert err.count("\n") == 1
    assert not (tmp_path / "x").exists()


def test_a_folder_that_cannot_be_written(capsys, tmp_path):
    (tmp_path / "file").write_text("no folder")
    code, _, err = _run(capsys, "--out", tmp_path / "file" / "deep", *SMALL)
    assert code == 2
    assert err.startswith(f"canopy: {tmp_path / 'file' / 'deep'}: cannot be written (")
    assert err.endswith("); choose another --out\n")


def test_a_typed_tray_list_is_not_written_over(capsys, tmp_path):
    (tmp_path / "trays.csv").write_text("mine")
    code, _, err = _run(capsys, "--out", tmp_path, *SMALL)
    assert code == 2
    assert err == f"canopy: {tmp_path / 'trays.csv'}: is there already and was not drawn; choose another --out\n"
    assert (tmp_path / "trays.csv").read_text() == "mine"
