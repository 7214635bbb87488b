"""Saving where a tray lies for a fixed camera, and checking whether that still holds."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from canopy.batch.farm import beside_or_above
from canopy.batch.folder import VIEWS, find_photos
from canopy.batch.job import Job, SetAside
from canopy.batch.plan import configuration_for, make_plan
from canopy.batch.trays_csv import TRAYS_FILE
from canopy.batch.view_files import read_view, write_view
from canopy.batch.work import Worker
from canopy.errors import PhotoError, UsageError
from canopy.records import SavedView, TrayRecord
from canopy.tray import save_view


@dataclass(frozen=True)
class Checked:
    """What a photo says of a saved view.

    Attributes
    ----------
    photo, view : str
    holds : bool
    message : str
        How far the tray was followed, or why the view does not hold.
    """

    photo: str
    view: str
    holds: bool
    message: str


def save_photo_as_view(
    name: str, photo: Path, *, tray: str | None, trays: Path | None, settings: Path | None, replace: bool
) -> tuple[Path, SavedView]:
    """Locate the tray of a photo by whatever its line of the tray list says, and save where it lies.

    Raises
    ------
    PhotoError
        The tray is not found in the photo.
    UsageError
        A file cannot be used, the photo shows another tray, or the name is no name for a view.
    """
    plan = make_plan([photo], trays=trays, settings=settings)
    aside = [job for job in plan.jobs if isinstance(job, SetAside)]
    if aside:
        raise UsageError(aside[0].message) if plan.problems else PhotoError(aside[0].code, aside[0].message)
    jobs = [job for job in plan.jobs if isinstance(job, Job)]
    meant = [job for job in jobs if tray in (None, job.record.tray)]
    if len(meant) != 1:
        named = ", ".join(job.record.tray for job in jobs)
        raise UsageError(f"{photo}: the tray list names {named} for it; say which one with --tray")
    seen = Worker(plan.configuration.settings, None).see(meant[0])
    try:
        view = save_view(name, seen.photo, seen.frame, seen.tray.layout, settings=plan.configuration.settings.tray)
    except ValidationError:
        raise UsageError(f"view `{name}`: is no name for a view; use letters, digits, `-`, `_` and `.`") from None
    return write_view(_farm(photo, trays) / VIEWS, view, replace=replace), view


def check_photo_by_view(name: str, photo: Path, *, trays: Path | None, settings: Path | None) -> Checked:
    """Whether a saved view holds for a photo of the same camera.

    Raises
    ------
    UsageError
        There is no such view, or a file cannot be used.
    """
    view = read_view(_farm(photo, trays) / VIEWS, name)
    source = find_photos([photo])[0][0]
    configuration = configuration_for([source.root], given=settings)
    record = TrayRecord(tray=name, layout=view.layout, view=view)
    try:
        seen = Worker(configuration.settings, None).see(Job(source, photo.stem, record, None))
    except PhotoError as error:
        return Checked(source.name, name, False, str(error))
    return Checked(source.name, name, True, seen.frame.located_by)


def _farm(photo: Path, trays: Path | None) -> Path:
    """The folder that holds the tray list and its views."""
    found = trays or beside_or_above(photo.parent, TRAYS_FILE)
    return found.parent if found is not None else photo.parent
