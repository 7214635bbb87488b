"""Who may import whom: rooms see only what lies below them; the map step and below touch nothing outside."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

CANOPY = Path(__file__).parent.parent / "canopy"

# From the top down; a room may import rooms further down, never up.
ORDER = (
    "cli", "web", "outlook", "nightly", "batch", "sheet", "outputs", "pictures", "store", "plan", "growth", "words",
    "analyse", "readiness", "measure", "segment", "tray", "photo", "settings", "records", "reasons", "errors",
)  # fmt: skip
# Rooms that stand side by side and do not see each other.
STRANGERS = tuple({room, "store"} for room in ("sheet", "outputs", "pictures", "words"))
MAP_STEP = ORDER[ORDER.index("analyse") :]
SYNTHETIC_MAY_USE = {"synthetic", "records"}
# Growth and plan read tables and recipes: the rooms of single photos are nothing to them.
MAY_USE = {
    "growth": {"growth", "settings", "records", "reasons", "errors"},
    "plan": {"plan", "readiness", "growth", "settings", "records", "reasons", "errors"},
    "words": {"words", "errors"},
}

# Files, clock, processes, network, screens and pages have no place in the map step and below.
OUTSIDE = {
    "os", "pathlib", "shutil", "tempfile", "glob", "time", "logging", "subprocess", "multiprocessing", "socket",
    "urllib", "http", "sqlite3", "typer", "rich", "jinja2", "sqlalchemy", "alembic",
    "fcntl", "fpdf", "segno", "babel", "fastapi", "starlette", "uvicorn",
}  # fmt: skip
OUTSIDE_CALLS = {"print", "open", "input"}
CLOCK = {"now", "today", "utcnow"}


def _modules():
    return sorted(path for path in CANOPY.rglob("*.py") if path.parent != CANOPY or path.stem in ORDER)


def _room(path: Path) -> str:
    return path.relative_to(CANOPY).parts[0].removesuffix(".py")


def _imports(tree: ast.AST) -> set[str]:
    """Full names of the modules that are imported, inside functions and under TYPE_CHECKING too."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            names.add(node.module or "")
            if node.module == "canopy":
                names |= {f"canopy.{alias.name}" for alias in node.names}
    return names


def _rooms_imported(path: Path) -> set[str]:
    names = _imports(ast.parse(path.read_text(encoding="utf-8")))
    return {name.split(".")[1] for name in names if name.startswith("canopy.")} - {"__version__"}


@pytest.mark.parametrize("path", _modules(), ids=lambda path: path.relative_to(CANOPY).as_posix())
def test_a_room_imports_only_what_lies_below_it(path):
    room = _room(path)
    imported = _rooms_imported(path)
    if room == "synthetic":
        assert imported <= SYNTHETIC_MAY_USE
        return
    if room in MAY_USE:
        assert imported <= MAY_USE[room]
        return
    allowed = set(ORDER[ORDER.index(room) :])
    if room == "cli":
        allowed |= {"synthetic"}
    assert imported <= allowed
    for side_by_side in STRANGERS:
        assert room not in side_by_side or imported & side_by_side <= {room}


@pytest.mark.parametrize(
    "path",
    [path for path in _modules() if _room(path) in {*MAP_STEP, "growth", "plan"}],
    ids=lambda path: path.relative_to(CANOPY).as_posix(),
)
def test_the_map_step_growth_and_plan_touch_nothing_outside(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert {name.split(".")[0] for name in _imports(tree)} & OUTSIDE == set()
    calls = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    assert {call.id for call in calls if isinstance(call, ast.Name)} & OUTSIDE_CALLS == set()
    assert {call.attr for call in calls if isinstance(call, ast.Attribute)} & CLOCK == set()


def test_the_contract_sees_every_room():
    rooms = {_room(path) for path in _modules()}
    assert set(ORDER) <= rooms
    assert rooms <= {*ORDER, "synthetic"}
