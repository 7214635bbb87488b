"""The commands as such: help, start-up, completion, lists, starter files."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib

import pytest
import typer.main

from canopy import __version__
from canopy.batch.settings_toml import Configuration, read_settings
from canopy.batch.starter import settings_text
from canopy.batch.trays_csv import read_trays
from canopy.cli.app import app
from canopy.readiness import known_recipes
from canopy.settings import Settings
from canopy.tray import named_layouts

from .typed import run

COMMANDS = {
    "score",
    "nightly",
    "redo",
    "export",
    "check",
    "backup",
    "doctor",
    "schedule",
    "explain",
    "layouts",
    "crops",
    "init",
}


def _python(code, **environment):
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, env={**os.environ, **environment}
    )
    return done.stdout


def test_every_command_has_help():
    group = typer.main.get_command(app)
    assert set(group.commands) >= COMMANDS
    assert all(command.help for command in group.commands.values())
    for command in group.commands.values():
        unexplained = [p.name for p in command.params if not getattr(p, "help", None) and p.name != "help"]
        assert unexplained == []


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_help_of_each_command(capsys, command):
    code, out, _ = run(capsys, command, "--help")
    assert code == 0
    assert f"Usage: canopy {command}" in out


def test_help_loads_nothing_heavy():
    # What makes `canopy --help` fast: none of the libraries that take tenths of a second to load are touched.
    code = (
        "import sys\nfrom canopy.cli.app import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'pandas', 'cv2', 'pydantic', 'rich', 'scipy', 'jinja2', 'PIL', 'sqlalchemy', 'alembic'}\n"
        "print('LOADED', sorted(heavy & set(sys.modules)))"
    )
    assert _python(code).splitlines()[-1] == "LOADED []"


def test_commands_complete_on_tab():
    told = _python(
        "from canopy.cli.app import main; main()",
        _CANOPY_COMPLETE="complete_bash", COMP_WORDS="canopy expl", COMP_CWORD="1",
    )  # fmt: skip
    assert told.split() == ["explain"]


def test_version(capsys):
    assert run(capsys, "--version")[:2] == (0, f"canopy {__version__}\n")


def test_no_command_shows_the_help(capsys):
    code, out, err = run(capsys)
    assert code == 2
    assert "Commands:" in out + err


@pytest.mark.parametrize("arguments", [["score"], ["score", "x.jpg"], ["frobnicate"], ["score", "x", "--wrong"]])
def test_wrong_usage_is_exit_code_2(capsys, arguments):
    assert run(capsys, *arguments)[0] == 2


def test_layouts_for_people_and_machines(capsys):
    _, out, _ = run(capsys, "layouts")
    assert len(out.splitlines()) == 1 + len(named_layouts())
    _, out, _ = run(capsys, "layouts", "--json")
    assert [layout["name"] for layout in json.loads(out)["layouts"]] == list(named_layouts())


def test_crops_for_people_and_machines(capsys, tmp_path):
    _, out, _ = run(capsys, "crops")
    assert len(out.splitlines()) == 1 + len(known_recipes())
    own = tmp_path / "canopy.toml"
    own.write_text('[[crop]]\ncrop = "my_cos"\nlike = "cos"\nstage = "finish"\n')
    _, out, _ = run(capsys, "crops", "--settings", own, "--json")
    names = [(recipe["crop"], recipe["stage"]) for recipe in json.loads(out)["crops"]]
    assert ("my_cos", "finish") in names
    assert len(names) == 1 + len(known_recipes())


def test_starter_files_load_as_the_defaults(capsys, tmp_path):
    code, out, _ = run(capsys, "init", tmp_path / "new")
    assert code == 0
    assert out.splitlines()[:2] == [f"Written: {tmp_path / 'new' / name}" for name in ("canopy.toml", "trays.csv")]
    assert read_settings(tmp_path / "new" / "canopy.toml").fingerprint == Configuration().fingerprint
    assert read_trays(tmp_path / "new" / "trays.csv", recipes=known_recipes()).lines == ()


def test_starter_files_are_never_overwritten(capsys, tmp_path):
    (tmp_path / "trays.csv").write_text("mine")
    code, _, err = run(capsys, "init", tmp_path)
    assert code == 2
    assert err.startswith(f"canopy: {tmp_path / 'trays.csv'}: is there already and is not overwritten")
    assert (tmp_path / "trays.csv").read_text() == "mine"
    assert not (tmp_path / "canopy.toml").exists()


def test_every_default_shown_in_the_starter_is_the_default():
    # With the comment signs in front of `name = value` taken away, the file says the defaults in full.
    lines = [
        line.removeprefix("# ") if line.startswith("# ") and " = " in line.split('"')[0] else line
        for line in settings_text().splitlines()
        if not line.startswith("# [[")
    ]
    start = next(n for n, line in enumerate(lines) if line.startswith("["))
    shown = [line for line in lines[start:] if not line.startswith("#")]
    data = tomllib.loads("\n".join(line for line in shown if line.startswith("[") or _is_setting(line)))
    assert Settings.model_validate(data) == Settings()
    assert _count(data) == _count(Settings().model_dump())


def test_the_example_line_of_the_starter_list_is_right(capsys, tmp_path):
    run(capsys, "init", tmp_path)
    path = tmp_path / "trays.csv"
    path.write_text(path.read_text().replace("# rack1", "rack1"))
    trays = read_trays(path, recipes=known_recipes())
    assert trays.problems == []
    assert [line.tray for line in trays.lines] == ["R1-01"]


def _is_setting(line):
    return line.split(" = ")[0].isidentifier() and " = " in line


def _count(data):
    """Number of settings in nested sections."""
    return sum(_count(value) if isinstance(value, dict) else 1 for value in data.values())
