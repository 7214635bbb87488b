"""The fields of one line of the tray list: text to checked values, each refusal saying what is allowed."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import date
from itertools import zip_longest
from typing import Any, TypeVar, get_args

from pydantic import ValidationError

from canopy.batch.view_files import ViewNamed
from canopy.errors import UsageError
from canopy.readiness.recipes import Recipes, recipe_for
from canopy.records import CropRecipe, Layout, SavedView, TrayRecord, Treatment
from canopy.records.recipe import Stage
from canopy.tray.layouts import AUTO, layout_from, named_layouts

T = TypeVar("T")

REQUIRED_COLUMNS = ("tray",)
COLUMNS = (
    "photo", "tray", "layout", "crop", "stage", "sown_on",
    "pitch_mm", "outline_mm", "markers", "marker_mm", "marker_offset_mm",
    "camera_height_mm", "canopy_height_mm", "corners",
    "treated_on", "product", "interval_days", "view", "trays_in_picture",
)  # fmt: skip

WHOLE_PICTURE = "picture"
_YES, _NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")


class FieldError(ValueError):
    """One field of one line cannot be used; `column` names it, the message says what was found and what is allowed."""

    def __init__(self, column: str, message: str) -> None:
        """Keep the column beside the message."""
        super().__init__(message)
        self.column = column


def tray_record(
    fields: Mapping[str, str], *, recipes: Recipes, view_named: ViewNamed, layouts: Mapping[str, Layout]
) -> tuple[TrayRecord, CropRecipe | None]:
    """One line of the tray list as a record, and the recipe it is scored by.

    Parameters
    ----------
    fields : mapping
        Column → text, stripped; absent and empty mean the same.
    recipes : dict
        Recipes that may be named.
    view_named : callable
        Gives a saved view by its name.
    layouts : mapping
        The farm's own layouts by name.

    Returns
    -------
    record : TrayRecord
    recipe : CropRecipe or None
        None where `crop` is empty: measured and scored on nothing.

    Raises
    ------
    FieldError
    """
    if not fields.get("tray"):
        raise FieldError("tray", "is empty; give the tray's id")
    recipe = _recipe(fields, recipes)
    corners, whole_picture = _corners(fields)
    view = _view(fields, view_named)
    layout, choices = _layouts(fields, view, layouts)
    try:
        record = TrayRecord(
            tray=fields["tray"],
            layout=layout,
            layout_choices=choices,
            crop=recipe.crop if recipe else "",
            stage=_stage(fields),
            sown_on=_read(fields, "sown_on", _date),
            has_markers=_read(fields, "markers", _yes_no),
            corners_px=corners,
            whole_picture=whole_picture,
            view=view,
            trays_in_picture=_read(fields, "trays_in_picture", _count) or 1,
            camera_height_mm=_read(fields, "camera_height_mm", _number),
            canopy_height_mm=_read(fields, "canopy_height_mm", _number),
            treatments=_treatments(fields),
        )
    except ValidationError as error:
        raise _field_error(error, fields) from None
    return record, recipe


def _layouts(
    fields: Mapping[str, str], view: SavedView | None, own: Mapping[str, Layout]
) -> tuple[Layout, tuple[Layout, ...]]:
    """The layout that is named, or the first of those to choose among and all of them."""
    if fields.get("layout", "").casefold() not in ("", AUTO):
        return _layout(fields, fields["layout"], own), ()
    if view is not None:
        return view.layout, ()
    for column in ("corners", "pitch_mm", "outline_mm"):
        if fields.get(column):
            wrong = f"is empty though `{column}` is given"
            raise FieldError("layout", f"{wrong}; name it (see `canopy layouts`), or write rows x columns, as `6x12`")
    if _stage(fields) == "mat":
        raise FieldError("layout", "is empty; a mat has no cells to know it by, so name it (see `canopy layouts`)")
    names = [name for name, layout in {**named_layouts(), **own}.items() if layout.kind != "mat"]
    choices = tuple(_layout(fields, name, own) for name in names)
    return choices[0], choices


def _layout(fields: Mapping[str, str], name: str, own: Mapping[str, Layout]) -> Layout:
    try:
        return layout_from(
            name,
            own=own,
            pitch_mm=_read(fields, "pitch_mm", _one_or_two),
            outline_mm=_read(fields, "outline_mm", _two),
            marker_mm=_read(fields, "marker_mm", _number),
            marker_offset_mm=_read(fields, "marker_offset_mm", _number),
        )
    except UsageError as error:
        raise FieldError("layout", str(error).removeprefix("layout ")) from None


def _view(fields: Mapping[str, str], view_named: ViewNamed) -> SavedView | None:
    name = fields.get("view", "")
    if not name:
        return None
    if fields.get("corners"):
        raise FieldError("view", f"`{name}` stands beside `corners`; keep one of them")
    try:
        return view_named(name)
    except UsageError as error:
        raise FieldError("view", str(error).removeprefix("view ")) from None


def _recipe(fields: Mapping[str, str], recipes: Recipes) -> CropRecipe | None:
    crop = fields.get("crop", "")
    if not crop:
        return None
    if not _stage(fields):
        raise FieldError("stage", f"is empty though a crop is given; allowed: {', '.join(get_args(Stage))}")
    try:
        return recipe_for(crop, fields["stage"], recipes=recipes)
    except UsageError as error:
        raise FieldError("stage" if str(error).startswith("stage") else "crop", str(error)) from None


def _stage(fields: Mapping[str, str]) -> str:
    stage = fields.get("stage", "").casefold()
    if stage and stage not in get_args(Stage):
        allowed = ", ".join(get_args(Stage))
        raise FieldError("stage", f"`{fields['stage']}` is not a stage; allowed: {allowed}, or empty")
    return stage


def _corners(fields: Mapping[str, str]) -> tuple[tuple[tuple[float, float], ...] | None, bool]:
    text = fields.get("corners", "")
    if text.casefold() == WHOLE_PICTURE:
        return None, True
    if not text:
        return None, False
    parts = text.replace(",", " ").replace(";", " ").split()
    try:
        numbers = [_number(part) for part in parts]
    except ValueError:
        numbers = []
    if len(numbers) != 8:
        raise FieldError(
            "corners",
            f"`{text}`: give 8 numbers with spaces (x y of corners 0 to 3, clockwise from A1's corner, in photo "
            f"pixels), or `{WHOLE_PICTURE}` where the picture's border is the tray's outline",
        )
    return tuple(zip(numbers[::2], numbers[1::2], strict=True)), False


def _treatments(fields: Mapping[str, str]) -> tuple[Treatment, ...]:
    """Several treatments stand in one field each, parted by semicolons."""
    days = [part.strip() for part in fields.get("treated_on", "").split(";") if part.strip()]
    waits = [part.strip() for part in fields.get("interval_days", "").split(";") if part.strip()]
    products = [part.strip() for part in fields.get("product", "").split(";") if part.strip()]
    if len(waits) != len(days):
        raise FieldError(
            "interval_days",
            f"holds {len(waits)} numbers for {len(days)} days in `treated_on`; give the waiting time in days of each "
            "treatment as on its label, parted by `;`",
        )
    if len(products) > len(days):
        raise FieldError("product", f"names {len(products)} products for {len(days)} days in `treated_on`")
    found = []
    for day, wait, product in zip_longest(days, waits, products, fillvalue="treatment"):
        if not wait.isdecimal() or int(wait) > 365:
            raise FieldError("interval_days", f"`{wait}` is not a whole number of days from 0 to 365")
        found.append(Treatment(applied_on=_read({"treated_on": day}, "treated_on", _date), product=product,
                               interval_days=int(wait)))  # fmt: skip
    return tuple(found)


def _read(fields: Mapping[str, str], column: str, reader: Callable[[str], T]) -> T | None:
    """A field by its reader; None where it is empty."""
    text = fields.get(column, "")
    if not text:
        return None
    try:
        return reader(text)
    except ValueError as error:
        raise FieldError(column, f"`{text}` {error}") from None


def _number(text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise ValueError("is not a number; write it as 51 or 51.5")
    return number


def _count(text: str) -> int:
    if not text.isdecimal():
        raise ValueError("is not a number of trays; write 2 where the photo shows two")
    return int(text)


def _two(text: str) -> tuple[float, float]:
    parts = text.lower().replace("×", "x").split("x")
    if len(parts) != 2:
        raise ValueError("is not two lengths; write them as 540x280 (along a row x along a column, mm)")
    return _number(parts[0]), _number(parts[1])


def _one_or_two(text: str) -> tuple[float, float]:
    if "x" in text.lower() or "×" in text:
        return _two(text)
    return _number(text), _number(text)


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError("is not a date; write year-month-day, as 2026-03-05") from None


def _yes_no(text: str) -> bool:
    if text.casefold() in _YES:
        return True
    if text.casefold() in _NO:
        return False
    raise ValueError("is not clear; allowed: yes, no, or empty (markers are used when they are there)")


def _field_error(error: ValidationError, fields: Mapping[str, str]) -> FieldError:
    column = str(error.errors()[0]["loc"][0]) if error.errors()[0]["loc"] else "tray"
    return FieldError(column, f"`{fields.get(column, '')}`: {_first_message(error)}")


def _first_message(error: ValidationError) -> str:
    entry: Any = error.errors()[0]
    if entry["type"] == "value_error":
        return str(entry["ctx"]["error"])
    return str(entry["msg"][0].lower() + entry["msg"][1:]).removeprefix("input ")
