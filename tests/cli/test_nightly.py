"""The commands on a folder that cameras fill, as they are typed."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time

import pytest
from nightly.in_place import InPlace
from store.made_up import reading

from canopy.store.database import opened
from canopy.store.logbook import Harvest, add_harvest
from canopy.store.turn import one_at_a_time

from .typed import run

TRAYS = "photo,tray,layout,pitch_mm,outline_mm\n*,=R1,3x5,50,270x170\n"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setattr(
        "canopy.nightly.work.analyse", lambda data, record, *, name, **_: reading(name, record.tray, area=len(data))
    )
    monkeypatch.setattr("canopy.nightly.pool.Pool", InPlace)
    folder = tmp_path / "share"
    folder.mkdir()
    (folder / "trays.csv").write_text(TRAYS)
    _put(folder / "a.jpg", b"1")
    return folder


def _put(file, data):
    file.write_bytes(data)
    an_hour_ago = time.time() - 3600
    os.utime(file, (an_hour_ago, an_hour_ago))


def test_a_pass_says_what_it_did_and_a_quiet_one_says_nothing(capsys, folder):
    assert run(capsys, "nightly", folder) == (0, "1 photo read, 0 set aside.\n", "")
    assert run(capsys, "nightly", folder) == (0, "", "")


def test_photos_set_aside_are_told_on_standard_error(capsys, folder):
    (folder / "trays.csv").write_text(TRAYS.replace("*,", "b*,"))
    code, out, err = run(capsys, "nightly", folder)
    assert (code, out) == (1, "0 photos read, 1 set aside.\n")
    assert err == "set aside: a.jpg: fits no line of trays.csv; add a line for it\n"


def test_a_pass_for_machines(capsys, folder):
    code, out, _ = run(capsys, "nightly", folder, "--json")
    assert code == 0
    assert json.loads(out) == {
        "store": str(folder / "canopy.db"), "read": 1, "known": 0, "waiting": 0, "gone": 0, "set_aside": [],
        "problems": [], "list_problems": [], "notes": [], "exit_code": 0,
    }  # fmt: skip


def test_a_second_pass_ends_quietly(capsys, folder):
    run(capsys, "nightly", folder)
    with opened(str(folder / "canopy.db"), busy_timeout_s=5) as store, one_at_a_time(store):
        code, out, err = run(capsys, "nightly", folder)
    assert (code, out) == (0, "")
    assert err == f"canopy: {folder / 'canopy.db.lock'}: another pass is running (process {os.getpid()}); let it end\n"


def test_asked_to_end_a_pass_gives_its_lock_back(folder):
    (folder / "canopy.toml").write_text("[store]\nsettle_s = 0\n")
    slow = (
        "import time\nfrom unittest import mock\nfrom canopy.cli.app import main\n"
        "def wait(*given, **named):\n    print('at work', flush=True)\n    time.sleep(60)\n"
        f"with mock.patch('canopy.nightly.pool.Pool.outcomes', wait):\n    main(['nightly', {str(folder)!r}])\n"
    )
    with subprocess.Popen([sys.executable, "-c", slow], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout.readline() == "at work\n"
        assert (folder / "canopy.db.lock").read_text() == f"{process.pid}\n"
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=20) == 128 + signal.SIGTERM
    assert not (folder / "canopy.db.lock").exists()


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_export(capsys, folder, tmp_path, ending):
    run(capsys, "nightly", folder)
    out = tmp_path / f"cells.{ending}"
    assert run(capsys, "export", folder, "--out", out) == (0, f"Written: {out}, 2 rows\n", "")


def test_an_export_has_the_promised_columns_and_no_formulas(capsys, folder, tmp_path):
    run(capsys, "nightly", folder)
    run(capsys, "export", folder, "--out", tmp_path / "t.csv", "--table", "trays")
    with (tmp_path / "t.csv").open(newline="") as file:
        row = next(csv.DictReader(file))
    assert (row["photo"], row["tray"], row["cells"], row["ready"]) == ("a.jpg", "'=R1", "2", "")
    assert run(capsys, "export", folder, "--out", tmp_path / "no.csv", "--tray", "R9")[1].endswith(", 0 rows\n")


def test_export_of_what_people_recorded(capsys, folder, tmp_path):
    run(capsys, "nightly", folder)
    with opened(str(folder / "canopy.db"), busy_timeout_s=5) as store, store.writing() as connection:
        for tray in ("R1", "R2"):
            add_harvest(connection, Harvest("2026-03-20T06:00:00+00:00", "grower", tray, "", "2026-03-20", 12))
    out = tmp_path / "h.csv"
    told = run(capsys, "export", folder, "--out", out, "--table", "harvests", "--tray", "R2")
    assert told[1] == f"Written: {out}, 1 row\n"
    assert out.read_text().splitlines()[1] == "2026-03-20T06:00:00+00:00,grower,R2,,2026-03-20,12,,"


def test_check(capsys, folder):
    run(capsys, "nightly", folder)
    assert run(capsys, "check", folder, "--bytes") == (0, "1 file as the store has them.\n", "")
    _put(folder / "b.jpg", b"2")
    assert run(capsys, "check", folder)[:2] == (1, "not taken in: b.jpg\n1 file as the store has them.\n")
    assert json.loads(run(capsys, "check", folder, "--json")[1])["new"] == ["b.jpg"]


def test_backup(capsys, folder, tmp_path):
    run(capsys, "nightly", folder)
    copy = tmp_path / "copy.db"
    assert run(capsys, "backup", folder, "--out", copy) == (0, f"Written: {copy}\n", "")
    assert run(capsys, "check", folder, "--store", copy)[0] == 0
    code, _, err = run(capsys, "backup", folder, "--out", copy)
    assert (code, err) == (2, f"canopy: {copy}: is there already and is not overwritten; choose another name\n")
    code, _, err = run(capsys, "backup", folder, "--out", copy, "--store", "postgresql://server/farm")
    assert code == 2
    assert "use the server's own backup (pg_dump)" in err


@pytest.mark.parametrize("command", [["export", "--out", "t.csv"], ["check"], ["backup", "--out", "c.db"]])
def test_commands_on_a_store_that_is_not_there_make_none(capsys, folder, command):
    code, _, err = run(capsys, command[0], folder, *command[1:])
    assert code == 2
    assert err.startswith(f"canopy: {folder / 'canopy.db'}: no such store")
    assert not (folder / "canopy.db").exists()
