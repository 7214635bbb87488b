"""Tray layouts by name, or free ones from rows × columns and a size."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from pydantic import ValidationError

from canopy.errors import UsageError, did_you_mean
from canopy.records import Layout

AUTO = "auto"
"""Written as a layout's name: to be chosen from the picture."""

_OWN_FIELDS = ("name", "rows", "columns")

Size = str | float | tuple[float, float] | None

_GRID = re.compile(r"(\d{1,3})\s*[x×*]\s*(\d{1,3})")
_NUMBER = r"\d+(?:[.,]\d+)?"
_ONE_OR_TWO = re.compile(rf"({_NUMBER})(?:\s*[x×*]\s*({_NUMBER}))?(?:\s*mm)?")


def named_layouts() -> dict[str, Layout]:
    """All layouts that can be named in the tray list, in the order of the table they ship in."""
    return dict(_named())


def layouts_from_toml(text: str, *, source_name: str) -> dict[str, Layout]:
    """A farm's own layouts: the `[[layout]]` entries of its settings file; other sections are not looked at.

    Each has `name`, `rows`, `columns` and `pitch_mm` or `outline_mm` (or both), and may have `kind`.

    Raises
    ------
    UsageError
        Naming the file, the layout, what is wrong and what is allowed.
    """
    entries = tomllib.loads(text).get("layout", [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise UsageError(f"{source_name}: layout: write each layout under its own `[[layout]]` heading")
    found: dict[str, Layout] = {}
    for number, entry in enumerate(entries, start=1):
        layout = _own(entry, where=f"{source_name}: layout {entry.get('name', f'number {number}')}")
        if layout.name in found or layout.name in _named():
            raise UsageError(f"{source_name}: layout {layout.name}: the name is taken; choose another")
        found[layout.name] = layout
    return found


def _own(entry: dict[str, Any], *, where: str) -> Layout:
    unknown = sorted(set(entry) - {*_OWN_FIELDS, "pitch_mm", "outline_mm", "kind"})
    missing = [field for field in _OWN_FIELDS if field not in entry]
    if unknown or missing:
        wrong = f"`{unknown[0]}` is not known" if unknown else f"`{missing[0]}` is missing"
        raise UsageError(f"{where}: {wrong}; write {', '.join(_OWN_FIELDS)}, and pitch_mm or outline_mm, and kind")
    name = str(entry["name"]).strip().lower()
    if not name or _GRID.fullmatch(name) or name == AUTO:
        raise UsageError(f"{where}: `{name}` is no name for a layout; choose one such as `mytray`")
    pitch, outline = (str(entry.get(field, "")) for field in ("pitch_mm", "outline_mm"))
    try:
        layout = layout_from(f"{entry['rows']}x{entry['columns']}", pitch_mm=pitch, outline_mm=outline)
        return Layout(**{**layout.model_dump(), "name": name, "kind": entry.get("kind", layout.kind)})
    except ValidationError as error:
        raise UsageError(f"{where}: {error.errors()[0]['loc'][0]}: {error.errors()[0]['msg']}") from None
    except UsageError as error:
        raise UsageError(f"{where}: {error}") from None


def layout_from(
    name: str,
    *,
    own: Mapping[str, Layout] | None = None,
    pitch_mm: Size = None,
    outline_mm: Size = None,
    marker_mm: str | float | None = None,
    marker_offset_mm: str | float | None = None,
) -> Layout:
    """Layout by name (`72`) or by rows × columns (`6x12`), with sizes of the tray at hand.

    Parameters
    ----------
    name : str
        A named layout, or rows × columns.
    own : mapping, optional
        A farm's own layouts by name.
    pitch_mm : str, float or pair, optional
        Distance of cell centres along a row × along a column; `51x51`, or `51` for both.
    outline_mm : str, float or pair, optional
        Outer size along a row × along a column, `540x280`. The grid is centred in it.
    marker_mm, marker_offset_mm : str or float, optional
        Side of a marker and how far its centre lies outside the corner, in x and in y.

    Returns
    -------
    Layout
        A free grid without `outline_mm` is rows × columns of the pitch; without `pitch_mm` the outline is
        divided evenly.

    Raises
    ------
    UsageError
        Unknown name (with the nearest known one), a size that is no size, a grid that does not fit.
    """
    key = name.strip().lower()
    pitch, outline = _pair(pitch_mm, "pitch_mm"), _pair(outline_mm, "outline_mm")
    known = {**_named(), **(own or {})}.get(key)
    if known is not None:
        fields = known.model_dump()
        if pitch or outline:
            fields["source"] = "given"
    else:
        fields, pitch, outline = _free(name, key, pitch, outline, own or {})
    if pitch:
        fields["pitch_x_mm"], fields["pitch_y_mm"] = pitch
    if outline:
        fields["outline_width_mm"], fields["outline_height_mm"] = outline
    fields["markers"] = _markers(marker_mm, marker_offset_mm)
    return _checked(fields)


def _free(
    name: str,
    key: str,
    pitch: tuple[float, float] | None,
    outline: tuple[float, float] | None,
    own: Mapping[str, Layout],
) -> tuple[dict[str, Any], tuple[float, float], tuple[float, float]]:
    """Fields, pitch and outline of a layout that is not in the table."""
    grid = _GRID.fullmatch(key)
    if grid is None:
        known = ", ".join((*own, *_named()))
        near = did_you_mean(key, (*own, *_named()), before=", ", cutoff=0.5)
        raise UsageError(f"layout `{name}` is not known{near}; known are {known}, or rows x columns")
    rows, columns = int(grid[1]), int(grid[2])
    if not rows or not columns:
        raise UsageError(f"layout `{name}`: rows and columns count from 1; write for example `6x12`")
    if pitch is None and outline is None:
        raise UsageError(f"layout `{name}`: its size is not known; give `pitch_mm` or `outline_mm`")
    if pitch is None:
        assert outline is not None
        pitch = (outline[0] / columns, outline[1] / rows)
    if outline is None:
        outline = (columns * pitch[0], rows * pitch[1])
    return {"name": f"{rows}x{columns}", "rows": rows, "columns": columns}, pitch, outline


def _markers(side: str | float | None, offset: str | float | None) -> dict[str, float]:
    given = {"side_mm": _pair(side, "marker_mm"), "offset_mm": _pair(offset, "marker_offset_mm", zero=True)}
    return {field: pair[0] for field, pair in given.items() if pair}


def _pair(size: Size, field: str, *, zero: bool = False) -> tuple[float, float] | None:
    """`51x52` → (51, 52); `51` → (51, 51)."""
    if size is None or (isinstance(size, str) and not size.strip()):
        return None
    if isinstance(size, tuple):
        pair = (float(size[0]), float(size[1]))
    elif isinstance(size, str):
        parts = _ONE_OR_TWO.fullmatch(size.strip().lower())
        if parts is None:
            raise UsageError(f"`{field}`: `{size}` is not a size in mm; write `51` or `51x52`")
        first = float(parts[1].replace(",", "."))
        pair = (first, float(parts[2].replace(",", ".")) if parts[2] else first)
    else:
        pair = (float(size), float(size))
    if not (min(pair) > 0 or (zero and min(pair) == 0)):
        raise UsageError(f"`{field}`: `{size}` must be above 0 mm; correct it")
    return pair


def _checked(fields: dict[str, Any]) -> Layout:
    try:
        return Layout(**fields)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        said = str(first["msg"]).removeprefix("Value error, ")
        raise UsageError(f"layout `{fields['name']}`: {where + ': ' if where else ''}{said}") from None


@cache
def _named() -> dict[str, Layout]:
    tables = tomllib.loads(files("canopy.tray").joinpath("layouts.toml").read_text("utf-8"))
    return {name: _from_table(name, table, row) for table in tables.values() for name, row in table["layouts"].items()}


def _from_table(name: str, table: dict[str, Any], row: dict[str, Any]) -> Layout:
    rows, columns = row["grid"]
    width, height = table["outline"]
    pitch_x, pitch_y = row.get("pitch", (width / columns, height / rows))
    return Layout(
        name=name,
        rows=rows,
        columns=columns,
        pitch_x_mm=pitch_x,
        pitch_y_mm=pitch_y,
        outline_width_mm=width,
        outline_height_mm=height,
        kind=table["kind"],
        source=row.get("source", table.get("source")),
    )
