"""A night on a real folder: what the store says is what `score` writes, to the last byte."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time

import pytest

from canopy.cli.app import main


@pytest.fixture
def share(farm, tmp_path):
    """A copy of the farm, an hour old."""
    folder = tmp_path / "share"
    shutil.copytree(farm.folder, folder)
    an_hour_ago = time.time() - 3600
    for photo in folder.rglob("*.png"):
        os.utime(photo, (an_hour_ago, an_hour_ago))
    return folder


def _run(*arguments):
    with pytest.raises(SystemExit) as stopped:
        main([str(argument) for argument in arguments])
    return stopped.value.code or 0


@pytest.mark.parametrize("table", ["cells", "trays"])
def test_the_store_holds_what_score_writes(share, scored, tmp_path, table):
    assert _run("nightly", share) == 0
    out = tmp_path / "out.csv"
    assert _run("export", share, "--table", table, "--out", out) == 0
    assert out.read_bytes() == (scored / f"{table}.csv").read_bytes()


def test_a_killed_night_goes_on_where_it_ended(share, scored, tmp_path):
    command = [sys.executable, "-m", "canopy", "nightly", str(share)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        lock = share / "canopy.db.lock"
        until = time.monotonic() + 60
        while not lock.exists() and process.poll() is None and time.monotonic() < until:
            time.sleep(0.005)
        process.send_signal(signal.SIGKILL)
    assert process.returncode == -signal.SIGKILL
    assert _run("nightly", share) == 0
    assert _run("check", share, "--bytes") == 0
    assert _run("export", share, "--out", tmp_path / "out.csv") == 0
    assert (tmp_path / "out.csv").read_bytes() == (scored / "cells.csv").read_bytes()
    assert sorted(path.name for path in share.glob("canopy.db*")) == ["canopy.db"]
