"""The settings file `canopy.toml`: sections named as the settings, own recipes `[[crop]]`, own trays `[[layout]]`."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from canopy.batch.farm import RECIPES
from canopy.batch.text_file import read_text
from canopy.errors import UsageError, did_you_mean
from canopy.readiness.recipes import Recipes, known_recipes, recipes_from_toml
from canopy.records import Layout
from canopy.settings import Settings
from canopy.tray.layouts import layouts_from_toml
from canopy.words import words_in

SETTINGS_FILE = "canopy.toml"
FINGERPRINT_DIGITS = 12

_SECTION = re.compile(r"^\s*\[\s*([A-Za-z0-9_.\s-]+?)\s*\]")
_KEY = re.compile(r"^\s*([A-Za-z0-9_.-]+?)\s*=")


@dataclass(frozen=True)
class Configuration:
    """Settings and the recipes that may be named in a tray list.

    Attributes
    ----------
    settings : Settings
    recipes : dict
        Shipped and own recipes by (crop, stage).
    layouts : dict
        Own layouts by name.
    """

    settings: Settings = field(default_factory=Settings)
    recipes: Recipes = field(default_factory=known_recipes)
    layouts: dict[str, Layout] = field(default_factory=dict)

    @property
    def fingerprint(self) -> str:
        """Checksum of every setting and recipe: equal fingerprints mean equal rules."""
        return hashlib.sha256(json.dumps(self.as_data(), sort_keys=True).encode()).hexdigest()[:FINGERPRINT_DIGITS]

    def as_data(self) -> dict[str, Any]:
        """Plain data of all settings and recipes that bear on readings; store, page, plans, prints, language do not."""
        recipes = [recipe.model_dump(mode="json", exclude_none=True) for recipe in self.recipes.values()]
        apart = dict.fromkeys(("store", "nightly", "web", "sheet", "plan", "picks", "learn"), True)
        settings = self.settings.model_dump(mode="json", exclude={**apart, "outputs": {"language"}})
        data = {"settings": settings, "recipes": recipes}
        own = [layout.model_dump(mode="json") for layout in self.layouts.values()]
        return {**data, "layouts": own} if own else data

    def in_language(self, language: str | None) -> Configuration:
        """The same with another language for what people read; None keeps that of the settings.

        Raises
        ------
        UsageError
            No such language.
        """
        words = words_in(language or self.settings.outputs.language)
        outputs = self.settings.outputs.model_copy(update={"language": words.language})
        return replace(self, settings=self.settings.model_copy(update={"outputs": outputs}))


def read_settings(path: Path) -> Configuration:
    """Read a settings file and the recipes in the folder `recipes` beside it; what they do not name keeps its default.

    Raises
    ------
    UsageError
        Naming file, line, setting, what is wrong and what is allowed; one line per problem.
    """
    configuration = settings_from_toml(read_text(path), source_name=path.name)
    own = dict.fromkeys(recipes_from_toml(read_text(path), source_name=path.name), path.name)
    recipes = dict(configuration.recipes)
    for file in sorted((path.parent / RECIPES).glob("*.toml")):
        name = f"{RECIPES}/{file.name}"
        found = recipes_from_toml(read_text(file), source_name=name)
        twice = [key for key in found if key in own]
        if twice:
            raise UsageError(f"{name}: crop {'/'.join(twice[0])} is given in {own[twice[0]]} too; keep one of them")
        own |= dict.fromkeys(found, name)
        recipes |= found
    return replace(configuration, recipes=recipes)


def settings_from_toml(text: str, *, source_name: str) -> Configuration:
    """Settings and recipes from the text of a settings file (see `read_settings`)."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{source_name}: not valid TOML: {error}") from None
    own = recipes_from_toml(text, source_name=source_name)
    layouts = layouts_from_toml(text, source_name=source_name)
    for name in ("crop", "layout"):
        data.pop(name, None)
    try:
        # Over the defaults of each section, because one model may serve several sections with defaults of their own.
        settings = Settings.model_validate(_merged(Settings().model_dump(), data))
    except ValidationError as error:
        lines = _line_numbers(text)
        problems = sorted(_problem(entry, source_name, lines) for entry in error.errors())
        raise UsageError("\n".join(text for _, text in problems)) from None
    return Configuration(settings, {**known_recipes(), **own}, layouts)


def _merged(defaults: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """The defaults with the changes written over them, section by section."""
    merged = dict(defaults)
    for name, value in changes.items():
        old = merged.get(name)
        merged[name] = _merged(old, value) if isinstance(value, dict) and isinstance(old, dict) else value
    return merged


def _problem(entry: Any, source_name: str, lines: dict[str, int]) -> tuple[int, str]:
    """Line (0 where unknown) and text of one problem."""
    path = [str(part) for part in entry["loc"]]
    name = ".".join(path)
    line = lines.get(name) or lines.get(".".join(path[:-1])) or 0
    where = f"{source_name}{f', line {line}' if line else ''}: `{name}`"
    if entry["type"] == "extra_forbidden":
        known = _names_at(path[:-1])
        hint = did_you_mean(path[-1], known, after=" ")
        return line, f"{where} is not a setting; {hint}allowed here: {', '.join(known)}"
    message = entry["msg"][0].lower() + entry["msg"][1:]
    return line, f"{where} = {_shown(entry['input'])}: {message.removeprefix('input ')}"


def _shown(value: object) -> str:
    return json.dumps(value, ensure_ascii=False) if isinstance(value, (str, bool, int, float)) else repr(value)


def _names_at(path: list[str]) -> list[str]:
    """Names of the settings in a section; of the sections for an empty path."""
    model: type[BaseModel] = Settings
    for part in path:
        if part.isdigit():  # a place in a list, of which all entries have the same names
            continue
        annotation = model.model_fields[part].annotation
        kinds = (annotation, *get_args(annotation))
        model = next(kind for kind in kinds if isinstance(kind, type) and issubclass(kind, BaseModel))
    return [*model.model_fields, *(["crop", "layout"] if not path else [])]


def _line_numbers(text: str) -> dict[str, int]:
    """Line of each section and key, by dotted name; the reader of TOML itself keeps none."""
    found: dict[str, int] = {}
    section = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if heading := _SECTION.match(line):
            section = re.sub(r"\s", "", heading[1])
            found.setdefault(section, number)
        elif key := _KEY.match(line):
            found.setdefault(f"{section}.{key[1]}".lstrip("."), number)
    return found
