"""The tray list `trays.csv`: which tray each photo shows, and what is known of it."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from functools import cached_property, partial
from pathlib import Path, PurePosixPath

from canopy.batch.text_file import read_text
from canopy.batch.tray_fields import COLUMNS, REQUIRED_COLUMNS, FieldError, tray_record
from canopy.batch.view_files import ViewNamed, no_views, views_below
from canopy.errors import PhotoError, UsageError, did_you_mean
from canopy.readiness.recipes import Recipes
from canopy.records import CropRecipe, Layout, TrayRecord

TRAYS_FILE = "trays.csv"
COMMENT = "#"
ReadRecord = Callable[[Mapping[str, str]], tuple[TrayRecord, CropRecipe | None]]
_GLOB = re.compile(r"[*?\[]")
_WORD_ENDS = re.compile(r"[_\s.,+]+")


@dataclass(frozen=True)
class Line:
    """One line of the tray list.

    Attributes
    ----------
    number : int
        Line of the file, from 1.
    photo : str
        File name or glob; empty where photos are recognised by the tray's id.
    tray : str
    record : TrayRecord or None
        None where the line cannot be used.
    recipe : CropRecipe or None
        None where the tray is scored on nothing.
    problem : str
        Why the line cannot be used, naming file, line, column, value and mend; empty where all is well.
    """

    number: int
    photo: str
    tray: str
    record: TrayRecord | None
    recipe: CropRecipe | None
    problem: str = ""

    @property
    def tray_ids(self) -> list[str]:
        """Of each tray that its photo shows: the line's own, or `ID-1`, `ID-2`, … of several."""
        several = self.record.trays_in_picture if self.record is not None else 1
        return [self.tray] if several == 1 else [f"{self.tray}-{k}" for k in range(1, several + 1)]


@dataclass(frozen=True)
class TrayList:
    """All lines of a tray list.

    Attributes
    ----------
    name : str
        Name of the file, for messages.
    lines : tuple of Line
    """

    name: str
    lines: tuple[Line, ...]

    @cached_property
    def by_photo(self) -> dict[str, list[Line]]:
        """Lines by their `photo` as written."""
        return _grouped((line.photo, line) for line in self.lines if line.photo)

    @cached_property
    def by_tray(self) -> dict[str, list[Line]]:
        """Lines without a `photo` by their tray's id."""
        return _grouped((line.tray, line) for line in self.lines if not line.photo)

    @cached_property
    def with_glob(self) -> list[Line]:
        """Lines whose `photo` is a pattern."""
        return [line for line in self.lines if _GLOB.search(line.photo)]

    @property
    def problems(self) -> list[str]:
        """What is wrong with lines of the list, each once."""
        return list(dict.fromkeys(line.problem for line in self.lines if line.problem))


def read_trays(path: Path, *, recipes: Recipes, layouts: Mapping[str, Layout] | None = None) -> TrayList:
    """Read a tray list; lines that cannot be used keep their problem, so that the others go on.

    Raises
    ------
    UsageError
        The file as a whole cannot be used: absent, not text, no header, an unknown or repeated column.
    """
    return trays_from_csv(
        read_text(path),
        source_name=path.name,
        recipes=recipes,
        view_named=views_below(path.parent),
        layouts=layouts,
    )


def trays_from_csv(
    text: str,
    *,
    source_name: str,
    recipes: Recipes,
    view_named: ViewNamed = no_views,
    layouts: Mapping[str, Layout] | None = None,
) -> TrayList:
    """A tray list from the text of its file (see `read_trays`).

    Fields are parted by commas, or by semicolons where the header is; empty lines and lines that start with `#` are
    passed over.
    """
    numbered = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip(" ,;\t") and not line.lstrip().startswith(COMMENT)
    ]
    if not numbered:
        raise UsageError(f"{source_name}: holds no lines; give a header, {','.join(COLUMNS[:6])}, and a line a tray")
    delimiter = ";" if numbered[0][1].count(";") > numbered[0][1].count(",") else ","
    columns = _columns(_fields(numbered[0][1], delimiter), source_name, line=numbered[0][0])
    read = partial(tray_record, recipes=recipes, view_named=view_named, layouts=layouts or {})
    lines = [
        _line(number, _fields(line, delimiter), columns, source_name=source_name, read=read)
        for number, line in numbered[1:]
    ]
    return TrayList(source_name, _checked_together(lines, source_name))


def lines_for(name: str, trays: TrayList) -> list[Line]:
    """The lines that a photo belongs to: one, or one for each tray that it shows, in reading order.

    The nearest way of naming it counts: its path, then its file name, then a glob on either, then the tray's id as a
    folder or as a part of the file name. Lines that name the photo in the same words and different trays are trays of
    one picture, in the order of the lines. So are the trays of a line with `trays_in_picture`, named `ID-1`, `ID-2`, ….

    Raises
    ------
    PhotoError
        `not_listed`: no line fits; `two_lines`: lines that say different things fit equally well; `which_tray`: lines
        of one picture do not say how its trays are told apart.
    """
    path = PurePosixPath(name)
    words = {*path.parts[:-1], path.stem, *_WORD_ENDS.split(path.stem)}
    ways: tuple[Callable[[], list[Line]], ...] = (
        lambda: trays.by_photo.get(name, []),
        lambda: trays.by_photo.get(path.name, []),
        lambda: [line for line in trays.with_glob if any(fnmatchcase(n, line.photo) for n in (name, path.name))],
        lambda: [line for word in sorted(words) for line in trays.by_tray.get(word, [])],
    )
    fitting = next((lines for way in ways if (lines := way())), [])
    if not fitting:
        raise PhotoError("not_listed", f"{name}: fits no line of {trays.name}; add a line for it")
    first = fitting[0]
    alike = all((line.tray, line.record) == (first.tray, first.record) for line in fitting)
    if alike:
        return _trays_of_one_line(first, name, trays)
    together = {line.photo for line in fitting} == {first.photo} and first.photo
    if together and len({line.tray for line in fitting}) == len(fitting):
        return _trays_of_lines(fitting, name, trays)
    numbers = " and ".join(str(line.number) for line in fitting[:2])
    raise PhotoError(
        "two_lines",
        f"{name}: lines {numbers} of {trays.name} both fit and differ; name the photo in one of them",
    )


def _trays_of_one_line(line: Line, name: str, trays: TrayList) -> list[Line]:
    record = line.record
    if record is None or record.trays_in_picture == 1:
        return [line]
    if _placed(record):
        raise _unclear(name, trays, line, "give each of its trays a line, with its own `corners` or `view`")
    named = [replace(line, tray=tray, record=record.model_copy(update={"tray": tray})) for tray in line.tray_ids]
    return _in_places(named)


def _trays_of_lines(lines: list[Line], name: str, trays: TrayList) -> list[Line]:
    records = [line.record for line in lines if line.record is not None]
    if len(records) < len(lines):
        return [
            line for line in lines if line.record is None
        ]  # their problem is told; the others' places are not known
    if all(_placed(record) for record in records):
        return lines
    if any(_placed(record) for record in records):
        raise _unclear(name, trays, lines[1], "give `corners` or `view` for all of its trays or for none")
    if {record.trays_in_picture for record in records} - {1, len(lines)}:
        raise _unclear(name, trays, lines[1], f"it has {len(lines)} lines but another number in `trays_in_picture`")
    return _in_places(lines)


def _in_places(lines: list[Line]) -> list[Line]:
    """Lines of one picture whose trays are told apart by their places in it."""
    for line in lines:
        if line.record is not None and line.record.layout_choices:
            problem = f"{line.photo or line.tray}: shows several trays; name their `layout`"
            return [replace(line, record=None, recipe=None, problem=problem)]
    return [
        replace(line, record=line.record.model_copy(update={"place": place, "trays_in_picture": len(lines)}))
        for place, line in enumerate(lines, start=1)
        if line.record is not None
    ]


def _placed(record: TrayRecord) -> bool:
    return record.corners_px is not None or record.view is not None or record.whole_picture


def _unclear(name: str, trays: TrayList, line: Line, mend: str) -> PhotoError:
    return PhotoError("which_tray", f"{name}: shows several trays by {trays.name}, line {line.number}; {mend}")


def absent_photos(names: Iterable[str], trays: TrayList) -> list[Line]:
    """Lines whose photo, named or by glob, is not among the photos found."""
    names = list(names)
    known = {*names, *(PurePosixPath(name).name for name in names)}
    return [
        line
        for line in trays.lines
        if line.photo
        and line.photo not in known
        and not (_GLOB.search(line.photo) and any(fnmatchcase(name, line.photo) for name in known))
    ]


def _grouped(pairs: Iterable[tuple[str, Line]]) -> dict[str, list[Line]]:
    groups: dict[str, list[Line]] = {}
    for key, line in pairs:
        groups.setdefault(key, []).append(line)
    return groups


def _fields(line: str, delimiter: str) -> list[str]:
    return [field.strip() for field in next(csv.reader([line], delimiter=delimiter))]


def _columns(header: Sequence[str], source_name: str, *, line: int) -> list[str]:
    columns = [name.casefold() for name in header]
    for name in columns:
        if name not in COLUMNS:
            hint = did_you_mean(name, COLUMNS, after=" ")
            raise UsageError(
                f"{source_name}, line {line}: column `{name}` is not known; {hint}allowed: {', '.join(COLUMNS)}"
            )
        if columns.count(name) > 1:
            raise UsageError(f"{source_name}, line {line}: column `{name}` stands twice; keep one of them")
    for name in REQUIRED_COLUMNS:
        if name not in columns:
            raise UsageError(f"{source_name}, line {line}: column `{name}` is missing; add it")
    return columns


def _line(number: int, fields: list[str], columns: list[str], *, source_name: str, read: ReadRecord) -> Line:
    by_column = dict(zip(columns, fields, strict=False))
    photo, tray = by_column.get("photo", "").replace("\\", "/").removeprefix("./"), by_column.get("tray", "")
    where = f"{source_name}, line {number}"
    if any(fields[len(columns) :]):
        problem = f"{where}: {len(fields)} fields under {len(columns)} columns; put fields that hold a comma in quotes"
        return Line(number, photo, tray, None, None, problem)
    try:
        record, recipe = read(by_column)
    except FieldError as error:
        return Line(number, photo, tray, None, None, f"{where}, column `{error.column}`: {error}")
    return Line(number, photo, tray, record, recipe)


def _checked_together(lines: list[Line], source_name: str) -> tuple[Line, ...]:
    """Lines of one tray must agree on what does not change from photo to photo."""
    firsts: dict[str, Line] = {}
    problems: dict[str, str] = {}
    for line in lines:
        if line.record is None:
            continue
        first = firsts.setdefault(line.tray, line)
        problem = _difference(first, line, source_name)
        if problem:
            problems.setdefault(line.tray, problem)
    return tuple(
        replace(line, record=None, recipe=None, problem=problems[line.tray])
        if line.record is not None and line.tray in problems
        else line
        for line in lines
    )


def _difference(first: Line, other: Line, source_name: str) -> str:
    for what in ("layout", "crop", "sown_on"):
        a, b = getattr(first.record, what), getattr(other.record, what)
        if a != b:
            shown = [value.name if isinstance(value, Layout) else str(value or "empty") for value in (a, b)]
            return (
                f"{source_name}, lines {first.number} and {other.number}, column `{what}`: two trays are named "
                f"`{first.tray}` but differ ({', '.join(shown)}); rename one or make them agree"
            )
    return ""
