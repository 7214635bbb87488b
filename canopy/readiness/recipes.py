"""Crop recipes by name: those shipped as package data, and those of a grower's own settings file."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib import resources
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from canopy.errors import UsageError, did_you_mean
from canopy.records.recipe import Criterion, CropRecipe

RecipeKey = tuple[str, str]
Recipes = dict[RecipeKey, CropRecipe]


def known_recipes() -> Recipes:
    """All recipes that come with the tool, by (crop, stage), in alphabetical order."""
    return dict(_shipped())


def recipe_for(crop: str, stage: str, *, recipes: Mapping[RecipeKey, CropRecipe] | None = None) -> CropRecipe:
    """The recipe of a crop and stage.

    Parameters
    ----------
    crop, stage : str
        As in the tray list; capitals, spaces and hyphens do not matter (`Pak choi` finds `pak_choi`).
    recipes : mapping, optional
        Where to look; by default the shipped recipes. Pass `{**known_recipes(), **own}` to add a grower's own.

    Raises
    ------
    UsageError
        No such recipe; the message names the known ones and the nearest.
    """
    table = _shipped() if recipes is None else recipes
    found = table.get((_plain(crop), _plain(stage)))
    if found is not None:
        return found
    crops = sorted({name for name, _ in table})
    if _plain(crop) in crops:
        stages = ", ".join(sorted(s for name, s in table if name == _plain(crop)))
        raise UsageError(f"stage: crop `{crop}` has no recipe for stage `{stage}`; known stages of it: {stages}")
    raise UsageError(
        f"crop: `{crop}` is not known{did_you_mean(_plain(crop), crops, before=', ')}; known crops: {', '.join(crops)}"
    )


def recipes_from_toml(text: str, *, source_name: str) -> Recipes:
    """Recipes of a grower's settings file: its `[[crop]]` entries; other sections are not looked at.

    An entry of a known crop and stage changes that recipe: what is not written stays as shipped. `like = "cos"` starts
    from another crop's recipe of the same stage. `colour = false` (or another criterion, or `height`) leaves it out.
    A block that is changed without a `source` of its own is marked `given in <source_name>`.

    Parameters
    ----------
    text : str
        TOML.
    source_name : str
        Name of the file, for messages.

    Returns
    -------
    dict
        By (crop, stage), in the order of the file; empty when there is no `[[crop]]`.

    Raises
    ------
    UsageError
        Naming the file, the recipe, the field, what is wrong and what is allowed.
    """
    try:
        entries = tomllib.loads(text).get("crop", [])
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{source_name}: not valid TOML: {error}") from None
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise UsageError(f"{source_name}: crop: write each recipe under its own `[[crop]]` heading")
    found: Recipes = {}
    for number, entry in enumerate(entries, start=1):
        recipe = _recipe_from(entry, number=number, source_name=source_name, bases=_shipped())
        key = (recipe.crop, recipe.stage)
        if key in found:
            raise UsageError(f"{source_name}: crop {recipe.crop}/{recipe.stage} is given twice; keep one `[[crop]]`")
        found[key] = recipe
    return found


@lru_cache(maxsize=1)
def _shipped() -> Recipes:
    found: Recipes = {}
    folder = resources.files("canopy.readiness") / "crops"
    for item in sorted(folder.iterdir(), key=lambda item: item.name):
        if not item.name.endswith(".toml"):
            continue
        entries = tomllib.loads(item.read_text(encoding="utf-8"))["crop"]
        for number, entry in enumerate(entries, start=1):
            recipe = _recipe_from(entry, number=number, source_name=item.name, bases=found)
            found[recipe.crop, recipe.stage] = recipe
    return dict(sorted(found.items()))


def _recipe_from(entry: dict[str, Any], *, number: int, source_name: str, bases: Recipes) -> CropRecipe:
    """One `[[crop]]` entry as a checked recipe."""
    fields = dict(entry)
    like = fields.pop("like", None)
    crop, stage = _plain(str(fields.get("crop", ""))), _plain(str(fields.get("stage", "")))
    where = f"{source_name}: crop {crop or f'number {number}'}{'/' + stage if stage else ''}"
    if crop:
        fields["crop"] = crop
    if stage:
        fields["stage"] = stage
    base = bases.get((crop, stage))
    if like is not None:
        base = bases.get((_plain(str(like)), stage))
        if base is None:
            names = ", ".join(sorted(name for name, s in bases if s == stage)) or "none"
            raise UsageError(f"{where}: like: no recipe `{like}` of stage `{stage}`; allowed: {names}")
    if base is not None:
        fields = _merged(base.model_dump(exclude_none=True), fields, source=f"given in {source_name}")
    try:  # `colour = false` leaves a block out; `red = false` is the default and may go the same way
        return CropRecipe.model_validate({name: value for name, value in fields.items() if value is not False})
    except ValidationError as error:
        raise UsageError(f"{where}: {_first_problem(error)}") from None


def _merged(base: dict[str, Any], change: dict[str, Any], *, source: str) -> dict[str, Any]:
    """The base with the changes written over it, block by block; changed blocks say where they come from."""
    merged = dict(base)
    for name, value in change.items():
        old = merged.get(name)
        if isinstance(value, dict) and isinstance(old, dict):
            kept = old
            if value.get("better", old.get("better")) != old.get("better"):
                kept = {key: old[key] for key in ("weight", "may_be_withheld", "index") if key in old}
            merged[name] = {**kept, "source": source, **value}
        elif isinstance(value, dict):
            merged[name] = {"source": source, **value}
        else:
            merged[name] = value
    return merged


def _first_problem(error: ValidationError) -> str:
    """The first thing pydantic found, as field, what is wrong and what is allowed."""
    problems = error.errors()
    first = problems[0]
    path = [str(part) for part in first["loc"]]
    more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
    field = ".".join(path)
    context = first.get("ctx", {})
    if first["type"] == "extra_forbidden":
        fields = sorted(_fields_at(path[:-1]))
        return (
            f"{field}: unknown field{did_you_mean(path[-1], fields, before=', ')}; allowed: {', '.join(fields)}{more}"
        )
    if first["type"] == "missing":
        return f"{field}: is missing; give it{more}"
    if first["type"] == "literal_error":
        return f"{field}: {first['input']!r} is not allowed; allowed: {context['expected']}{more}"
    if first["type"] == "value_error":
        return f"{field + ': ' if field else ''}{context['error']}{more}"
    got = first["input"]
    return f"{field}: {first['msg'][0].lower()}{first['msg'][1:]}, got {got!r}{more}"


def _fields_at(path: list[str]) -> list[str]:
    """Names of the fields of the recipe (empty path) or of one of its blocks."""
    model: type[BaseModel] = CropRecipe
    for part in path:
        if part.isdigit():  # a place in a list, of which all entries have the same fields
            continue
        annotation = model.model_fields[part].annotation
        options = [a for a in (annotation, *get_args(annotation)) if isinstance(a, type) and issubclass(a, BaseModel)]
        model = options[0] if options else Criterion
    extra = ["like"] if model is CropRecipe else []
    return [*model.model_fields, *extra]


def _plain(name: str) -> str:
    """A crop or stage as it is stored: small letters, underscores."""
    return "_".join(name.casefold().replace("-", " ").replace("_", " ").split())
