"""A photo measured with all that is known of its tray, corrections too; the reading stored, its picture kept."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from pydantic import ValidationError

from canopy import __version__
from canopy.errors import PhotoError
from canopy.records import ByHand, CropRecipe, Layout, Stroke, TrayRecord
from canopy.store import ledger
from canopy.store.newest import Kept, newest_reading_of_photo
from canopy.store.notebook import Word, saved_recipes, words_about
from canopy.store.readings import Origin, put_reading
from canopy.web import darkroom
from canopy.web.farm import KnownTray, recipe_now
from canopy.web.site import Site

STATES = ("planted", "empty", "dead")


@dataclass(frozen=True)
class Source:
    """A photo to be measured.

    Attributes
    ----------
    sha256 : str
    path : str
        Below the folder.
    data : bytes
    modified_at : datetime or None
        The file's own date.
    """

    sha256: str
    path: str
    data: bytes
    modified_at: datetime | None = None


@dataclass(frozen=True)
class Told:
    """What is told of a photo and its tray: the record with corrections, the recipe in its newest version."""

    record: TrayRecord
    recipe: CropRecipe | None
    checksum: str


@dataclass(frozen=True)
class Shown:
    """A picture of a tray from above.

    Attributes
    ----------
    layout : Layout
    box_mm : tuple of float
        x, y, width, height on the tray.
    """

    layout: Layout
    box_mm: tuple[float, float, float, float]


def measure_photo(site: Site, source: Source, tray: KnownTray) -> int:
    """Measure a photo and put what comes of it into the store; the reading's number comes back.

    The same photo under the same circumstances is measured once.

    Raises
    ------
    PhotoError
        It gives no reading; the store says so of the photo, unless an earlier reading of it is there.
    """
    told = what_is_told(site, tray, source.sha256)
    with site.store.reading() as connection:
        earlier = newest_reading_of_photo(connection, source.sha256, tray.id, made_with=told.checksum)
    if earlier is not None:
        return earlier
    try:
        made = _develop(site, source, told)
    except PhotoError as error:
        with site.store.writing() as connection:
            if newest_reading_of_photo(connection, source.sha256, tray.id) is None:
                ledger.put_photo(connection, _photo(source, told, ledger.SET_ASIDE, error))
        raise
    fingerprint = site.farm.rules.configuration.fingerprint
    with site.store.writing() as connection:
        known = ledger.photo_of(connection, source.sha256)
        if known is None or known.state == ledger.SET_ASIDE:
            ledger.put_photo(connection, _photo(source, told, ledger.READ, None))
        earlier = newest_reading_of_photo(connection, source.sha256, tray.id, made_with=told.checksum)
        if earlier is not None:  # the same photo sent twice at one moment
            return earlier
        origin = Origin(source.sha256, fingerprint, __version__, told.checksum, site.now)
        number = put_reading(connection, made.reading, origin)
    _keep_picture(site, source.sha256, told.checksum, made)
    return number


def what_is_told(site: Site, tray: KnownTray, sha256: str) -> Told:
    """All that bears on the reading of a photo but its bytes."""
    with site.store.reading() as connection:
        words, saved = words_about(connection, tray.id), saved_recipes(connection)
    mine = [word for word in words if word.photo_sha256 in ("", sha256)]
    recipe = recipe_now(tray, saved)
    record = corrected(tray.record, mine)
    about: list[Any] = [__version__, record.model_dump(mode="json"), [word.id for word in mine]]
    about.append(recipe.model_dump(mode="json") if recipe is not None else None)
    about.append(site.farm.rules.configuration.fingerprint)
    return Told(record, recipe, hashlib.sha256(json.dumps(about, sort_keys=True).encode()).hexdigest())


def corrected(record: TrayRecord, words: list[Word]) -> TrayRecord:
    """The record with a photo's corrections; the last word of each kind counts, strokes add up until taken back."""
    states: dict[str, str] = {}
    strokes: list[Stroke] = []
    change: dict[str, object] = {}
    for word in words:
        if word.column == "state" and word.cell:
            states.pop(word.cell, None)
            if word.value in STATES:
                states[word.cell] = word.value
        elif word.column == "strokes":
            strokes = [*strokes, *_strokes(word.value)] if word.value else []
        elif word.column == "sown_on":
            change["sown_on"] = date.fromisoformat(word.value) if word.value else record.sown_on
        elif word.column == "corners":
            change["corners_px"] = _corners(word.value)
    if states or strokes:
        change["by_hand"] = ByHand.model_validate({"states": tuple(states.items()), "strokes": tuple(strokes)})
    return record.model_copy(update=change)


def sown_now(record: TrayRecord, words: list[Word]) -> date | None:
    """Day of sowing, in a person's last word."""
    return corrected(record, [word for word in words if word.column == "sown_on"]).sown_on


def picture_of(site: Site, kept: Kept) -> tuple[bytes, Shown]:
    """The picture of a reading; made again from the photo where there is none yet.

    Raises
    ------
    PhotoError
        The photo is gone, its tray is no longer in the list, or it gives no picture.
    """
    picture, facts = _picture_files(site, kept.photo_sha256, kept.made_with)
    try:
        return picture.read_bytes(), _shown(json.loads(facts.read_text(encoding="utf-8")))
    except (OSError, ValueError, KeyError, ValidationError):
        pass
    tray = site.farm.rules.tray_of(kept.tray, path=kept.path)
    if tray is None:
        raise PhotoError("not_listed", f"{kept.tray}: no longer in the tray list; add it to see its pictures")
    told = what_is_told(site, tray, kept.photo_sha256)
    made = _develop(site, Source(kept.photo_sha256, kept.path, site.farm.photo(kept.path, kept.photo_sha256)), told)
    _keep_picture(site, kept.photo_sha256, kept.made_with, made)
    return made.picture, Shown(made.layout, made.box_mm)


def _develop(site: Site, source: Source, told: Told) -> darkroom.Measured:
    settings = site.farm.rules.configuration.settings
    return site.workshop.call(
        darkroom.measure,
        source.data,
        told.record,
        told.recipe,
        name=source.path,
        modified_at=source.modified_at if settings.photo.file_date else None,
        settings=settings,
    )


def _photo(source: Source, told: Told, state: str, error: PhotoError | None) -> ledger.Photo:
    mtime_ns = round(source.modified_at.timestamp() * 1e9) if source.modified_at is not None else 0
    reason, message = (error.code, str(error)) if error is not None else (None, None)
    return ledger.Photo(source.sha256, source.path, len(source.data), mtime_ns, state, reason, message, told.checksum)


def _strokes(value: str | None) -> list[Stroke]:
    try:
        return [Stroke.model_validate(stroke) for stroke in json.loads(value or "[]")]
    except (ValueError, ValidationError):
        return []


def _corners(value: str | None) -> tuple[tuple[float, float], ...] | None:
    if not value:
        return None
    numbers = [float(number) for number in value.split()]
    return tuple(zip(numbers[::2], numbers[1::2], strict=True))


def _picture_files(site: Site, sha256: str, made_with: str) -> tuple[Any, Any]:
    """Picture and facts of a reading: names made of the store's own checksums."""
    stem = site.farm.pictures / f"{sha256[:20]}_{made_with[:20]}"
    return stem.with_suffix(".jpg"), stem.with_suffix(".json")


def _keep_picture(site: Site, sha256: str, made_with: str, made: darkroom.Measured) -> None:
    picture, facts = _picture_files(site, sha256, made_with)
    text = json.dumps({"layout": made.layout.model_dump(mode="json"), "box_mm": made.box_mm}).encode()
    for path, data in ((picture, made.picture), (facts, text)):
        part = path.with_name(path.name + ".part")
        part.write_bytes(data)
        part.replace(path)


def _shown(facts: dict[str, Any]) -> Shown:
    x, y, width, height = (float(number) for number in facts["box_mm"])
    return Shown(Layout.model_validate(facts["layout"]), (x, y, width, height))
