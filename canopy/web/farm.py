"""The farm's folder: tray list, recipes, photos; files are named by what the store says, never by a request."""

from __future__ import annotations

import hashlib
import re
import threading
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from pathlib import Path

from pydantic import ValidationError

from canopy.batch.folder import SNAPS
from canopy.batch.plan import configuration_for, tray_list_for
from canopy.batch.settings_toml import SETTINGS_FILE, Configuration
from canopy.batch.trays_csv import TRAYS_FILE, Line, TrayList, lines_for
from canopy.errors import PhotoError, UsageError
from canopy.records import CropRecipe, TrayRecord
from canopy.web.kinds import ENDINGS

_RACK = re.compile(r"[-_. /]")
_NUMBERS = re.compile(r"(\d+)")
_SHA256 = re.compile(r"[0-9a-f]{64}")

SavedRecipes = Mapping[tuple[str, str], tuple[int, dict[str, object]]]


@dataclass(frozen=True)
class KnownTray:
    """A tray of the tray list.

    Attributes
    ----------
    id : str
    record : TrayRecord
        As for a photo taken by hand: what holds for a camera at its place only is left out.
    recipe : CropRecipe or None
    """

    id: str
    record: TrayRecord
    recipe: CropRecipe | None

    @property
    def crop(self) -> str:
        """Name of the crop for people; empty where the tray is scored on nothing."""
        return (self.recipe.title or self.recipe.crop) if self.recipe else ""


@dataclass(frozen=True)
class Rules:
    """Settings and tray list as they were read last."""

    configuration: Configuration
    tray_list: TrayList
    trays: dict[str, KnownTray]
    problems: tuple[str, ...]

    @cached_property
    def in_order(self) -> list[KnownTray]:
        """Trays in walking order."""
        return sorted(self.trays.values(), key=lambda tray: walking_order(tray.id))

    def tray_of(self, tray: str, *, path: str) -> KnownTray | None:
        """What is known of a tray for one photo: of a camera's photo also what holds for the camera at its place."""
        known = self.trays.get(tray)
        if path.startswith(f"{SNAPS}/"):
            return known
        try:
            lines = lines_for(path, self.tray_list)
        except PhotoError:
            return known
        found = [KnownTray(tray, line.record, line.recipe) for line in lines if line.tray == tray and line.record]
        return found[0] if found else known


@dataclass(frozen=True)
class Asked:
    """Files that were named when the page was started; None: those beside the photos."""

    trays: Path | None = None
    settings: Path | None = None


class Farm:
    """The folder of a farm; tray list and settings are read again when they have changed."""

    def __init__(self, folder: Path, *, asked: Asked | None = None) -> None:
        """Read tray list and settings.

        Raises
        ------
        UsageError
            The folder or one of the files cannot be used.
        """
        if not folder.is_dir():
            raise UsageError(f"{folder}: no such folder; check the path, and that it is mounted")
        self.folder = folder
        self._asked = asked or Asked()
        self._lock = threading.Lock()
        self._stamp = self._stamps()
        self._rules = self._read()
        self.snaps = folder / SNAPS
        self.pictures = self.snaps / "pictures"
        try:
            self.pictures.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise UsageError(f"{self.pictures}: cannot be made ({error.strerror}); check the folder's rights") from None

    @property
    def rules(self) -> Rules:
        """As they are now; while a changed file cannot be used, as they were before, with the problem told."""
        with self._lock:
            stamp = self._stamps()
            if stamp != self._stamp:
                try:
                    self._rules = self._read()
                except UsageError as error:
                    self._rules = replace(self._rules, problems=tuple(str(error).splitlines()))
                self._stamp = stamp
            return self._rules

    def _read(self) -> Rules:
        configuration = configuration_for([self.folder], given=self._asked.settings)
        tray_list, _ = tray_list_for(self.folder, given=self._asked.trays, configuration=configuration)
        trays: dict[str, KnownTray] = {}
        for line in tray_list.lines:
            trays.update({tray.id: tray for tray in _of_line(line)})
        return Rules(configuration, tray_list, trays, tuple(tray_list.problems))

    def _stamps(self) -> tuple[tuple[int, int] | None, ...]:
        files = (self._asked.trays or self.folder / TRAYS_FILE, self._asked.settings or self.folder / SETTINGS_FILE)
        return tuple(_stamp(path) for path in files)

    def keep(self, sha256: str, kind: str, data: bytes) -> str:
        """Keep a photo from a phone; its path below the folder comes back."""
        path = self.snaps / f"{_checked(sha256)}.{ENDINGS[kind]}"
        if not path.is_file():
            part = path.with_suffix(".part")
            part.write_bytes(data)
            part.replace(path)
        return snap_path(sha256, kind)

    def photo(self, path: str, sha256: str) -> bytes:
        """Bytes of a photo that the store knows.

        Raises
        ------
        PhotoError
            `missing`: it is not there any more, or another one is.
        """
        try:
            data = (self.folder / path).read_bytes()
        except OSError as error:
            raise PhotoError("missing", f"{path}: cannot be read ({error.strerror}); put the photo back") from None
        if hashlib.sha256(data).hexdigest() != sha256:
            raise PhotoError("missing", f"{path}: is another photo now; put the one back that was measured")
        return data


def snap_path(sha256: str, kind: str) -> str:
    """Path below the folder of a photo that came from a phone."""
    return f"{SNAPS}/{_checked(sha256)}.{ENDINGS[kind]}"


def rack_of(tray: str) -> str:
    """Rack of a tray: its id up to the first `-`, `_`, `.`, `/` or space; the whole id where there is none."""
    return _RACK.split(tray, maxsplit=1)[0]


def walking_order(tray: str) -> tuple[tuple[int, int, str], ...]:
    """Key that sorts tray ids as one walks: numbers by their value, so that R2-9 comes before R2-10 and R10-1."""
    return tuple(
        (1, int(part), "") if part.isdecimal() else (0, 0, part.casefold()) for part in _NUMBERS.split(tray) if part
    )


def recipe_now(tray: KnownTray, saved: SavedRecipes) -> CropRecipe | None:
    """The tray's recipe, in the version that was saved last."""
    if tray.recipe is None:
        return None
    version = saved.get((tray.recipe.crop, tray.recipe.stage))
    if version is None:
        return tray.recipe
    try:
        return CropRecipe.model_validate(version[1])
    except ValidationError:  # saved by a version of the program that knew other fields
        return tray.recipe


def age_days(tray: KnownTray | None, taken_at: str | None, *, sown_on: date | None = None) -> int | None:
    """Days from sowing to the photo."""
    sown = sown_on or (tray.record.sown_on if tray is not None else None)
    if sown is None or not taken_at:
        return None
    return (date.fromisoformat(taken_at[:10]) - sown).days


def _of_line(line: Line) -> list[KnownTray]:
    record = line.record
    if record is None:
        return []
    by_hand = record.model_copy(
        update={"corners_px": None, "view": None, "whole_picture": False, "camera_height_mm": None,
                "trays_in_picture": 1, "place": 1}
    )  # fmt: skip
    return [KnownTray(tray, by_hand.model_copy(update={"tray": tray}), line.recipe) for tray in line.tray_ids]


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        seen = path.stat()
    except OSError:
        return None
    return seen.st_mtime_ns, seen.st_size


def _checked(sha256: str) -> str:
    if not _SHA256.fullmatch(sha256):
        raise ValueError("not a SHA-256")
    return sha256
