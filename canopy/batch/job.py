"""What a run is made of: jobs to do, and what comes of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from canopy.batch.folder import Source
from canopy.records import CropRecipe, Reading, TrayRecord


@dataclass(frozen=True)
class SetAside:
    """A photo that gave no reading.

    Attributes
    ----------
    photo : str
        Path below the given folder; what was written in the tray list where the photo is absent.
    tray : str
        Empty where unknown.
    code : str
        Key of `canopy.reasons.REASONS`.
    message : str
        One line: what is wrong and how to mend it.
    """

    photo: str
    tray: str
    code: str
    message: str


@dataclass(frozen=True)
class Job:
    """One photo to work through.

    Attributes
    ----------
    source : Source
    stem : str
        Name of the files made from it, without extension.
    record : TrayRecord
    recipe : CropRecipe or None
    """

    source: Source
    stem: str
    record: TrayRecord
    recipe: CropRecipe | None

    @property
    def modified_at(self) -> datetime:
        """File date on this machine's wall clock: the last resort for the time of the photo."""
        return datetime.fromtimestamp(self.source.path.stat().st_mtime)


@dataclass(frozen=True)
class Done:
    """A photo that gave a reading.

    Attributes
    ----------
    reading : Reading
    stem : str
        Name of its files, without extension.
    title : str
        Crop for people; empty where the tray is scored on nothing.
    cautions : tuple of str
        Sentences of the recipe, shown wherever it is used.
    picture : bytes
        JPEG for the report; empty when none was drawn.
    fingerprint : int or None
        Of the picture, by which copies are known (`canopy.photo.likeness`).
    """

    reading: Reading
    stem: str
    title: str
    cautions: tuple[str, ...]
    picture: bytes
    fingerprint: int | None = None


Outcome = Done | SetAside
