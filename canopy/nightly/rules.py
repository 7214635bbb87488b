"""By what a photo is worked through: settings, tray list and version, and a checksum of them for each photo."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from canopy import __version__
from canopy.batch.folder import Source
from canopy.batch.job import Job, SetAside
from canopy.batch.plan import jobs_of
from canopy.batch.settings_toml import Configuration
from canopy.batch.trays_csv import TrayList
from canopy.nightly.farm import Farm


@dataclass(frozen=True)
class Rules:
    """All that a reading rests on but the photo.

    Attributes
    ----------
    root : pathlib.Path
        Folder of the photos.
    configuration : Configuration
    trays : TrayList
    trays_below : pathlib.Path
        Folder that the tray list lies in.
    """

    root: Path
    configuration: Configuration
    trays: TrayList
    trays_below: Path

    @cached_property
    def checksum(self) -> str:
        """The same as long as nothing has changed that could help a photo that was set aside."""
        lines = [(line.photo, line.tray, line.record, line.problem) for line in self.trays.lines]
        return self._checksum([lines, self.configuration.settings.store.photo_max_mb, self._bounds])

    def jobs(self, path: str) -> list[Job | SetAside]:
        """What is to be done with the photo of this path below the folder."""
        return jobs_of(Source(self.root / path, path, self.root, True), self.trays, below=self.trays_below)

    def made_with(self, job: Job | SetAside) -> str:
        """Checksum of all that the outcome of one job rests on but the photo."""
        if isinstance(job, SetAside):
            return self._checksum([job.tray, job.code, job.message.replace(job.photo, "")])
        return self._checksum(job.record)

    def tried_with(self, jobs: Sequence[Job | SetAside]) -> str:
        """Checksum for all jobs of one photo."""
        return self._checksum([*(self.made_with(job) for job in jobs), *self._bounds])

    @property
    def _bounds(self) -> list[float]:
        """What a photo may take; raised, it may let a photo in that was set aside."""
        nightly = self.configuration.settings.nightly
        return [nightly.worker_memory_mb, nightly.photo_max_s]

    def _checksum(self, what: object) -> str:
        data = [__version__, self.configuration.fingerprint, what]
        return hashlib.sha256(json.dumps(data, default=_plain, sort_keys=True).encode()).hexdigest()


def read_rules(farm: Farm) -> Rules:
    """The farm's settings and tray list.

    Raises
    ------
    UsageError
        There is no tray list, or it cannot be used.
    """
    tray_list, below = farm.trays()
    return Rules(farm.photos, farm.configuration, tray_list, below)


def _plain(value: Any) -> object:
    """What JSON cannot write: records by their fields, bytes by their checksum, days and the like as they are shown."""
    if isinstance(value, BaseModel):
        return value.model_dump()
    if isinstance(value, bytes):
        return hashlib.sha256(value).hexdigest()
    return str(value)
