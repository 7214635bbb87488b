"""Texts that start passes by the clock say what they should to the programs that read them."""

from __future__ import annotations

import configparser
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from canopy.cli.app import main
from canopy.errors import UsageError
from canopy.nightly.farm import find_farm, make_farm
from canopy.nightly.schedule import schedule

# Sandboxing that systemd.exec(5) offers and that a program can bear which reads files, writes a few, sends a message.
SANDBOX = {
    "NoNewPrivileges": "yes", "ProtectSystem": "strict", "PrivateTmp": "yes", "PrivateDevices": "yes",
    "CapabilityBoundingSet": "", "RestrictSUIDSGID": "yes", "SystemCallFilter": "@system-service",
}  # fmt: skip


@pytest.fixture
def farm(tmp_path):
    root = tmp_path / 'odd "name" 50%$HOME \\x'
    make_farm(root)
    (root / "canopy.toml").write_text(
        '[nightly]\nphotos = "/mnt/share"\nlog = "logs/passes.log"\nmetrics = "/run/prom/c.prom"\n'
        "worker_memory_mb = 2000\n"
    )
    return find_farm(root)


def _parts(farm, **changes):
    given = {"program": Path(sys.executable).parent / "canopy", "user": "growers", "every_min": 5, "workers": 2}
    return {part.name: part.text for part in schedule(farm, **{**given, **changes})}


def _unit(text):
    parser = configparser.RawConfigParser(strict=True, interpolation=None)
    parser.optionxform = str
    parser.read_string(text)
    return parser


def _as_systemd(words, *, command=False):
    """Words as systemd.syntax(7) and systemd.service(5) have them read: quotes, backslashes, %% and $$ (commands)."""
    found = [re.sub(r"\\(.)", r"\1", quoted) for quoted in re.findall(r'"((?:[^"\\]|\\.)*)"', words)]
    return [word.replace("%%", "%").replace("$$", "$") if command else word.replace("%%", "%") for word in found]


def test_the_service_runs_a_pass_as_an_unprivileged_user_in_a_sandbox(farm):
    service = _unit(_parts(farm)["service"])["Service"]
    root = str(farm.root)
    words = _as_systemd(service["ExecStart"], command=True)
    assert words[1:] == ["nightly", root, "--workers", "2"]
    assert service["User"] == "growers"
    assert service["SuccessExitStatus"] == "1"
    assert service["MemoryMax"] == "5000M"
    assert {name: service[name] for name in SANDBOX} == SANDBOX
    assert _as_systemd(service["ReadWritePaths"]) == [root, "/run/prom", f"{root}/logs"]
    mounts = _as_systemd(_unit(_parts(farm)["service"])["Unit"]["RequiresMountsFor"])
    assert mounts[:2] == [root, "/mnt/share"]


def test_the_command_of_the_service_is_one_that_runs(farm):
    (farm.root / "canopy.toml").write_text("")
    words = _as_systemd(_unit(_parts(farm)["service"])["Service"]["ExecStart"], command=True)
    done = subprocess.run([sys.executable, "-m", "canopy", *words[1:]], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_the_timer_starts_the_next_pass_after_the_last_has_ended(farm):
    timer = _unit(_parts(farm, every_min=10)["timer"])["Timer"]
    assert timer["OnUnitInactiveSec"] == "10min"


@pytest.mark.parametrize(
    ("every_min", "when"), [(5, "*/5 * * * *"), (59, "*/59 * * * *"), (60, "0 */1 * * *"), (120, "0 */2 * * *")]
)
def test_the_cron_line(farm, every_min, when):
    line = _parts(farm, every_min=every_min)["cron"]
    assert line.startswith(f"{when}  ")
    assert re.search(r"(?<!\\)%", line) is None
    words = shlex.split(line.removeprefix(when).replace("\\%", "%"))
    assert words[1:] == ["nightly", str(farm.root), "--workers", "2"]


def test_log_rotation_only_where_there_is_a_log(farm):
    text = _parts(farm)["rotation"]
    assert text.startswith(f'"{farm.root}/logs/passes.log" {{\n    su growers growers\n')
    (farm.root / "canopy.toml").write_text("")
    assert "rotation" not in _parts(find_farm(farm.root))


@pytest.mark.parametrize("user", ["", "Root", "a b", "x\nExecStart=/bin/sh", "-u", "a" * 33])
def test_what_is_no_name_of_a_user_is_refused(farm, user):
    with pytest.raises(UsageError, match="is no name of a user"):
        _parts(farm, user=user)


def test_a_path_with_a_line_break_is_refused(tmp_path):
    make_farm(tmp_path / "two\nlines")
    with pytest.raises(UsageError, match="holds a line break"):
        _parts(find_farm(tmp_path / "two\nlines"))


def test_as_it_is_typed(farm, capsys):
    before = sorted(farm.root.rglob("*"))
    with pytest.raises(SystemExit) as stopped:
        main(["schedule", str(farm.root), "--user", "growers"])
    assert not stopped.value.code
    out = capsys.readouterr().out
    assert [line.split(":")[0] for line in out.splitlines() if line.startswith("# ---")] == [
        "# --- service", "# --- timer", "# --- cron", "# --- rotation",
    ]  # fmt: skip
    assert sorted(farm.root.rglob("*")) == before
