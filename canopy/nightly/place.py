"""Where photos come from: a folder of this machine, or a store of files elsewhere; listed and read alike."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from canopy.nightly.look import Entry, Listing, listings
from canopy.nightly.read import Taken, take


class Place(Protocol):
    """A tree of photos."""

    @property
    def name(self) -> str:
        """For messages."""

    @property
    def troubles(self) -> list[str]:
        """What could not be fetched for now, though it is there."""

    def listings(self) -> Iterator[Listing]:
        """As of `canopy.nightly.look.listings`."""

    def take(self, path: str, entry: Entry) -> Taken:
        """As of `canopy.nightly.read.take`, by the path below the place."""

    def holds(self, path: str) -> bool:
        """Whether a file is there, be it one that listings leave out."""

    def is_empty(self) -> bool:
        """Whether nothing at all is there, as where a share is not mounted."""


@dataclass(frozen=True)
class Folder:
    """A folder of this machine, or one that is mounted.

    Attributes
    ----------
    root : pathlib.Path
    """

    root: Path

    @property
    def name(self) -> str:
        """Its path."""
        return str(self.root)

    @property
    def troubles(self) -> list[str]:
        """A file of a folder can be read or not; nothing is in between."""
        return []

    def listings(self) -> Iterator[Listing]:
        """As of `canopy.nightly.look.listings`."""
        return listings(self.root)

    def take(self, path: str, entry: Entry) -> Taken:
        """As of `canopy.nightly.read.take`."""
        return take(self.root / path, entry)

    def holds(self, path: str) -> bool:
        """Whether a file is there, be it one that listings leave out."""
        return (self.root / path).is_file()

    def is_empty(self) -> bool:
        """Whether the folder holds no file and no folder."""
        return not any(self.root.iterdir())
