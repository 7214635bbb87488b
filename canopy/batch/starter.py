"""Starter files: every setting with its meaning and default, and a tray list to fill in."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from annotated_types import Ge, Gt, Le, Lt
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from canopy.batch.farm import RECIPES
from canopy.batch.folder import VIEWS
from canopy.batch.settings_toml import SETTINGS_FILE
from canopy.batch.trays_csv import TRAYS_FILE
from canopy.errors import UsageError
from canopy.settings import Settings

RECIPES_FILE = "own.toml"

_SETTINGS_HEAD = """\
# Settings of canopy. Every line that starts with `# name =` shows a default: take the `# ` away to change it.
# Own crop recipes go at the end, or into files in the folder recipes; a recipe of a known crop and stage changes that
# recipe, for instance:
# [[crop]]
# crop = "butterhead"
# stage = "finish"
# gates = { minimum_das = 40 }
# Own trays likewise:
# [[layout]]
# name = "mytray"
# rows = 5
# columns = 8
# pitch_mm = "48x50"
# outline_mm = "400x270"
"""

_RECIPES_TEXT = """\
# Own crop recipes of canopy, in as many files as you like; lines that start with # are passed over. A recipe of a known
# crop and stage changes that recipe (`canopy crops` lists them); `like` starts a new one from a known one.
# [[crop]]
# crop = "evening kale"
# stage = "seedling"
# title = "Evening kale, seedling"
# like = "kale"
"""

_TRAYS_TEXT = """\
# Tray list of canopy: one line a tray, or one a photo. Lines that start with # are passed over.
# photo: file name, or a pattern such as rack1_*.jpg; empty: the tray's id is looked for in folder and file name.
# tray: its id. layout: see `canopy layouts`, or rows x columns such as 6x12 (then give pitch_mm and outline_mm); empty
# or auto: chosen from the picture.
# crop, stage: see `canopy crops`; crop empty: measured and not scored. sown_on: year-month-day.
# Columns that may be added: pitch_mm, outline_mm, markers (yes/no), marker_mm, marker_offset_mm, camera_height_mm,
# canopy_height_mm, corners (x y of the 4 corners in photo pixels, clockwise from A1's corner; or `picture`),
# treated_on, product, interval_days (waiting time as on the product's label), view (of a fixed camera, see
# `canopy view save`), trays_in_picture (or a line for each of its trays, in reading order).
photo,tray,layout,crop,stage,sown_on
# rack1_*.jpg,R1-01,72,butterhead,seedling,2026-03-01
"""


def write_starter(folder: Path) -> list[Path]:
    """Write `canopy.toml`, `trays.csv` and a file for recipes into a folder, and make the folder for saved views.

    Raises
    ------
    UsageError
        One of them is there already, or the folder cannot be written.
    """
    texts = {
        folder / SETTINGS_FILE: settings_text(),
        folder / TRAYS_FILE: _TRAYS_TEXT,
        folder / RECIPES / RECIPES_FILE: _RECIPES_TEXT,
    }
    for path in texts:
        if path.exists():
            raise UsageError(f"{path}: is there already and is not overwritten; move it away or choose another folder")
    try:
        for below in (RECIPES, VIEWS):
            (folder / below).mkdir(parents=True, exist_ok=True)
        for path, text in texts.items():
            path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise UsageError(f"{folder}: cannot be written ({error.strerror}); choose another folder") from None
    return list(texts)


def settings_text() -> str:
    """A settings file that says nothing but shows everything: it loads as the defaults."""
    return "\n".join([_SETTINGS_HEAD, *_section(Settings(), path=())]) + "\n"


def _section(settings: BaseModel, *, path: tuple[str, ...]) -> Iterator[str]:
    """Lines of one section: its own settings first, then its sections."""
    fields = type(settings).model_fields
    values = {name: getattr(settings, name) for name in fields}
    for name, value in values.items():
        if not isinstance(value, BaseModel):
            yield f"# {fields[name].description}{_bounds(fields[name])}"
            yield f"# {name} = {_toml(value)}"
    for name, value in values.items():
        if isinstance(value, BaseModel):
            yield f"\n[{'.'.join((*path, name))}]"
            yield f"# {fields[name].description}"
            yield from _section(value, path=(*path, name))


def _bounds(field: FieldInfo) -> str:
    words = {Ge: "from", Gt: "above", Le: "to", Lt: "below"}
    limits = [
        f"{word} {getattr(bound, kind.__name__.lower()):g}"
        for kind, word in words.items()
        for bound in field.metadata
        if isinstance(bound, kind)
    ]
    return f" Allowed: {' '.join(limits)}." if limits else ""


def _toml(value: object) -> str:
    """A value as TOML; JSON writes text, numbers, truth values and lists the same way."""
    return json.dumps(list(value) if isinstance(value, (tuple, set, frozenset)) else value, ensure_ascii=False)
