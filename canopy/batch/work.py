"""One job from file to files: read the photo, work it through, write its pictures, hand back the reading."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2

from canopy.analyse import Seen, Worked, see_tray, work_through
from canopy.batch.job import Done, Job
from canopy.errors import PhotoError, UsageError
from canopy.outputs.masks import photo_mask, png_bytes
from canopy.outputs.overlays import draw_overlay, jpeg_bytes, shrink
from canopy.photo.likeness import picture_fingerprint
from canopy.settings import Settings
from canopy.words import words_in

OVERLAYS = "overlays"
MASKS = "masks"


@dataclass(frozen=True)
class Worker:
    """Works jobs through; picklable, so that it runs in any process.

    Attributes
    ----------
    settings : Settings
    out : pathlib.Path or None
        Folder of results; None: no pictures are drawn.
    masks : bool
        Also write `masks/<stem>.png`.
    """

    settings: Settings
    out: Path | None
    masks: bool = False

    def __call__(self, job: Job) -> Done:
        """The reading of one job, its pictures written."""
        # One thread a photo: photos run side by side, and sums come out the same whatever the number of workers.
        cv2.setNumThreads(1)
        worked = self.work_through(job)
        picture = self._write_pictures(worked, job) if self.out is not None else b""
        title, cautions = (job.recipe.title or job.recipe.crop, job.recipe.cautions) if job.recipe else ("", ())
        return Done(worked.reading, job.stem, title, cautions, picture, picture_fingerprint(worked.photo.rgb))

    def work_through(self, job: Job) -> Worked:
        """All steps of one job, nothing written."""
        return work_through(
            _read(job),
            job.record,
            settings=self.settings,
            name=job.source.name,
            modified_at=job.modified_at if self.settings.photo.file_date else None,
            recipe=job.recipe,
        )

    def see(self, job: Job) -> Seen:
        """The first steps of one job: the photo decoded, its tray located."""
        return see_tray(
            _read(job), job.record, settings=self.settings, name=job.source.name, modified_at=job.modified_at
        )

    def _write_pictures(self, worked: Worked, job: Job) -> bytes:
        """Write overlay and, when asked for, mask; the report's picture comes back."""
        assert self.out is not None
        look = self.settings.outputs
        words = words_in(look.language)
        overlay = draw_overlay(worked, worked.tray.layout, long_side_px=look.overlay_long_side_px, words=words)
        _write(self.out / OVERLAYS / f"{job.stem}.jpg", jpeg_bytes(overlay, quality=look.overlay_quality))
        if self.masks:
            mask = photo_mask(worked, cover_min=look.mask_cover_min)
            _write(self.out / MASKS / f"{job.stem}.png", png_bytes(mask, compression=look.mask_png_compression))
        return jpeg_bytes(shrink(overlay, long_side_px=look.report_long_side_px), quality=look.report_quality)


def remove_pictures(out: Path, stem: str) -> None:
    """Take away what was drawn of a photo that is not counted after all."""
    for path in (out / OVERLAYS / f"{stem}.jpg", out / MASKS / f"{stem}.png"):
        path.unlink(missing_ok=True)


def _read(job: Job) -> bytes:
    try:
        return job.source.path.read_bytes()
    except OSError as error:
        message = f"{job.source.name}: cannot be opened ({error.strerror}); check the file and its rights"
        raise PhotoError("cannot_open", message) from None


def _write(path: Path, data: bytes) -> None:
    """Write a file whole or not at all."""
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        message = f"{path}: cannot be written ({error.strerror}); make room or choose another --out"
        raise UsageError(message) from None
