"""README.md and DEVELOPERS.md say what is so: commands, names, files, numbers."""

from __future__ import annotations

import importlib.util
import math
import re
import shlex
import tomllib
from pathlib import Path

import pytest
import typer.main
from test_imports import ORDER

from benchmarks.draw_readme import EXAMPLE_CELL, EXAMPLE_PHOTO, PICTURES, between_marks, by_hand, reason_lines
from canopy import __version__
from canopy.batch.explanation import explain_photo
from canopy.batch.folder import find_photos
from canopy.batch.tray_fields import COLUMNS
from canopy.cli.app import COMMANDS, app
from canopy.outputs.picks import PICK_COLUMNS
from canopy.pictures.palette import LOOKS
from canopy.readiness.recipes import recipes_from_toml
from canopy.reasons import REASONS
from canopy.records import Markers
from canopy.settings import Settings

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
BOTH = pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])

CALL = re.compile(r"(?:^|\s)(?:\.venv/bin/)?canopy ([a-z]+)((?: +[^\s`|&;#]+)*)")
MODULE = re.compile(r"-m (benchmarks[.\w]*)((?: +[^\s`|&;#]+)*)")
EXAMPLE_LINES = (
    README.partition("<!-- explain -->")[2].partition("<!-- end of explain -->")[0].strip().splitlines()[2:-1]
)


def _fenced(text):
    return re.findall(r"^```(\w*)\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE)


def _code(text):
    """Shell lines of fences and code within the text, long marks taken apart from prose."""
    shell = [
        line for kind, block in _fenced(text) if kind in {"bash", "console", "text"} for line in block.splitlines()
    ]
    prose = re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)
    return [*shell, *re.findall(r"`([^`]+)`", prose.replace("\n", " "))]


@BOTH
def test_every_command_that_is_named_exists_with_its_options(text):
    commands = typer.main.get_command(app).commands
    calls = [call for line in _code(text) for call in CALL.findall(line)]
    assert calls
    for name, arguments in calls:
        command = commands[name]
        if hasattr(command, "commands"):  # such as `canopy view save`
            command = command.commands[shlex.split(arguments)[0]]
        known = {option for parameter in command.params for option in parameter.opts} | {"--help"}
        assert {word for word in shlex.split(arguments) if word.startswith("-")} <= known


@BOTH
def test_every_program_that_is_named_exists_with_its_options(text):
    calls = [call for line in _code(text) for call in MODULE.findall(line)]
    assert calls
    for name, arguments in calls:
        spec = importlib.util.find_spec(name)
        assert spec is not None, name
        source = Path(spec.origin).read_text(encoding="utf-8")
        for word in shlex.split(arguments):
            assert not word.startswith("-") or f'"{word}"' in source, f"{name} {word}"


@pytest.mark.parametrize(
    "command",
    [
        *(command.__name__ for command in COMMANDS),
        "view save",
        "view check",
        "sheet draw",
        "sheet check",
        "people add",
        "people list",
        "people remove",
        "people token",
    ],
)
def test_readme_mentions_every_command(command):
    assert f"canopy {command}" in README


def test_readme_starts_with_two_commands_that_need_nothing_before_them():
    first, second = [block.strip() for kind, block in _fenced(README) if kind == "bash"][:2]
    for command in (first, second):
        assert "\n" not in command
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    assert first.endswith(".venv/bin/canopy score sample_images --out out")
    assert second.endswith(".venv/bin/pytest -q -n auto")


def test_second_command_is_what_is_run_before_a_change_lands():
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    second = [block.strip() for kind, block in _fenced(README) if kind == "bash"][1]
    assert all(part in ci for part in second.split(" && "))


def test_readme_explains_every_reason_as_it_is():
    for line in reason_lines():
        assert line in README.splitlines()
    assert all(f"`{code}`" in README for code in REASONS)


def test_readme_names_every_column_that_people_write_or_machines_read():
    for name in (*COLUMNS, *PICK_COLUMNS):
        assert f"`{name}`" in README, name


def test_readme_names_every_decision_with_its_sign():
    for look in LOOKS.values():
        row = next(line for line in README.splitlines() if line.startswith("|") and f"`{look.decision}`" in line)
        assert look.shape in row
        assert look.shape == "cross" or row.startswith(f"| {look.letter},")


def test_readme_gives_the_defaults_of_markers_and_score():
    assert f"(ArUco, dictionary DICT_4X4_50, black square {Markers().side_mm:g} mm)" in README
    assert f"centre is {Markers().offset_mm:g} mm outside" in README
    assert f"offered from {Settings().readiness.ready_score:g} up" in README


def test_recipe_of_readme_is_read():
    blocks = [block for kind, block in _fenced(README) if kind == "toml"]
    assert [key for block in blocks for key in recipes_from_toml(block, source_name="README.md")] == [
        ("my_cos", "finish")
    ]


def test_height_example_recomputes():
    height, camera, shown = re.search(r"leaf (\d+) mm above .*? lens (\d+) mm .*?= ([\d.]+) times", README).groups()
    assert f"{(float(camera) / (float(camera) - float(height))) ** 2:.2f}" == shown


def _criteria():
    """Of each criterion shown in the example: name, formula and desirability."""
    names = [line.split(" (")[0] for line in EXAMPLE_LINES if re.match(r"\w+ \(\w+\): ", line)]
    sums = [line.removeprefix("  d = ").rpartition(" = ") for line in EXAMPLE_LINES if line.startswith("  d = ")]
    return [(name, formula, float(d)) for name, (formula, _, d) in zip(names, sums, strict=True)]


def test_desirabilities_of_the_example_recompute_from_what_is_printed():
    number = r"([\d.]+(?:e-?\d+)?)"
    formula_of = re.compile(rf"\(\({number} − {number}\) / \({number} − {number}\)\)\^{number}$")
    criteria = _criteria()
    assert any(formula_of.match(formula) for _, formula, _ in criteria)
    for name, formula, d in criteria:
        if found := formula_of.match(formula):
            a, b, c, e, exponent = map(float, found.groups())
            # Six digits are printed of each figure, four decimals of the result: half a unit of the last decimal.
            assert ((a - b) / (c - e)) ** exponent == pytest.approx(d, abs=6e-5), name
        else:
            assert (formula, d) in {("1 (at the target)", 1.0), ("0 (outside the limits)", 0.0)}


def test_score_of_the_example_recomputes_from_what_is_printed():
    weights_line = next(line for line in EXAMPLE_LINES if line.startswith("Weights"))
    weights = {name: float(weight) for name, weight in re.findall(r"(\w+) (\d\.\d{4})", weights_line)}
    # Four decimals each: the weights of up to five criteria sum to 1 within five half units.
    assert sum(weights.values()) == pytest.approx(1, abs=2.5e-4)
    score = 100 * math.prod(d ** weights[name] for name, _, d in _criteria())
    for pattern, digits in ((r"^Score: ([\d.]+) = ", 1), (r"^In one line: (\d+) = ", 0)):
        shown = next(found[1] for line in EXAMPLE_LINES if (found := re.match(pattern, line)))
        assert f"{score:.{digits}f}" == shown
    assert f"times 100 = {score:.1f}" in README


def test_steps_by_hand_are_those_of_the_example():
    for line in by_hand(EXAMPLE_LINES):
        assert line in README.splitlines()


def test_example_is_what_the_tool_says_today():
    told = explain_photo(ROOT / EXAMPLE_PHOTO, EXAMPLE_CELL, trays=ROOT / "sample_images" / "trays.csv", settings=None)
    assert EXAMPLE_LINES[0] == told.lines[0]
    shown = re.search(r"^Decision: (\w+) \(score ([\d.]+),", "\n".join(EXAMPLE_LINES), flags=re.MULTILINE)
    assert shown[1] == told.decision
    # Other versions of the image libraries decode and resample a little differently; more than a point is another tool.
    assert float(shown[2]) == pytest.approx(told.readiness, abs=1)


@BOTH
def test_links_and_pictures_lead_somewhere(text):
    for target in re.findall(r"\]\(([^)]+)\)", text):
        if target.startswith("#"):
            assert f'<a id="{target[1:]}"></a>' in text
        else:
            assert (ROOT / target).exists(), target


def test_developers_names_only_files_that_are_there():
    named = re.findall(r"`((?:canopy|tests|benchmarks|\.ci)/[\w./]*)`", DEVELOPERS)
    assert named
    assert [path for path in named if not (ROOT / path).exists()] == []


def test_developers_gives_the_order_of_imports_and_every_room():
    assert " → ".join(ORDER) in DEVELOPERS
    for room in (path for path in (ROOT / "canopy").iterdir() if path.is_dir() and (path / "__init__.py").exists()):
        assert f"`canopy/{room.name}`" in DEVELOPERS


def test_changelog_starts_with_this_version():
    assert re.search(r"^### (\S+)", DEVELOPERS.partition("## Changelog")[2], flags=re.MULTILINE)[1] == __version__
    assert tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"] == __version__


@BOTH
def test_no_place_of_one_machine_is_named(text):
    assert re.findall(r"(?<![\w.~])/(?:home|root|work|tmp|usr|opt|srv|var|etc|mnt)\b", text) == []
    assert re.findall(r"https?://|pypi|index-url|localhost", text) == []


def test_readme_pictures_are_small_and_taken_for_no_photos():
    pictures = sorted(PICTURES.glob("*.jpg"))
    assert {picture.name for picture in pictures} == set(re.findall(r"readme/overlays/([\w.]+)\)", README))
    for picture in pictures:
        assert picture.stat().st_size < 250_000
    found, _ = find_photos([ROOT / "sample_images"])
    assert [source.name for source in found if source.name.startswith("readme/")] == []


def test_marks_are_kept_when_the_text_between_them_is_replaced():
    text = "a\n<!-- x -->\nold\n<!-- end of x -->\nb"
    assert between_marks(text, "x", "new") == "a\n<!-- x -->\nnew\n<!-- end of x -->\nb"
    with pytest.raises(AssertionError, match="mark <!-- y --> is missing"):
        between_marks(text, "y", "new")
