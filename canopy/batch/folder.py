"""Which photos there are: the given files and folders, in an order that never depends on the machine."""

from __future__ import annotations

import hashlib
import os
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from canopy.errors import UsageError

PHOTO_SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".gif", ".bmp"})
"""Endings of files that are taken for photos; what cannot be read is set aside with its reason, not passed over."""

RUN_FILE = "run.json"
"""A folder that holds this file beside `cells.csv` is an earlier result, not a folder of photos."""

VIEWS = "views"
"""The folder of saved views, beside the tray list."""

SNAPS = "snaps"
"""The folder of photos that came from phones: measured as they come, never looked for again."""

RESULT_FOLDERS = frozenset({"masks", "overlays", VIEWS, SNAPS})
"""Names of the folders that pictures are written to; masks and views are kept beside photos, too, and are no photos."""


@dataclass(frozen=True)
class Source:
    """One photo file.

    Attributes
    ----------
    path : pathlib.Path
        Where its bytes are.
    name : str
        Path below the given folder, with forward slashes: the `photo` column.
    root : pathlib.Path
        The given folder, or the folder of the given file: where `trays.csv` and `canopy.toml` are looked for.
    from_folder : bool
        True when a folder was given, so that its whole tray list is meant.
    """

    path: Path
    name: str
    root: Path
    from_folder: bool


def find_photos(inputs: Sequence[Path], *, out: Path | None = None) -> tuple[list[Source], list[Path]]:
    """List the photos of files and folders.

    Parameters
    ----------
    inputs : sequence of pathlib.Path
        Photos and folders; folders are searched with their sub-folders. Hidden files, folders named `masks`,
        `overlays` or `views`, earlier results and `out` are passed over.
    out : pathlib.Path, optional
        Folder of the results of this run.

    Returns
    -------
    sources : list of Source
        Sorted by name within each input, inputs in the order given; a file given twice is listed once.
    empty : list of pathlib.Path
        Folders without a photo.
    """
    sources: dict[Path, Source] = {}
    empty = []
    for given in inputs:
        if not given.exists():
            raise UsageError(f"{given}: no such photo or folder; check the path")
        found = _in_folder(given, out) if given.is_dir() else [Source(given, given.name, given.parent, False)]
        if not found:
            empty.append(given)
        for source in found:
            sources.setdefault(source.path.resolve(), source)
    return _with_unique_names(list(sources.values())), empty


def output_stems(names: Iterable[str]) -> dict[str, str]:
    """Names for the files made from each photo, which cannot collide.

    A photo straight in the given folder keeps its name without extension when no other has the same (upper and lower
    case alike, since some file systems hold them equal); any other gets its path and a checksum of it.
    """
    names = list(names)
    plain = Counter(PurePosixPath(name).stem.casefold() for name in names)
    stems = {}
    for name in names:
        path = PurePosixPath(name)
        alone = len(path.parts) == 1 and plain[path.stem.casefold()] == 1
        stems[name] = path.stem if alone else _checked_stem(path)
    return stems


def stem_among(stem: str, name: str, tray: str) -> str:
    """Name for the files of one of several trays in a photo: the photo's, the tray's, and a checksum of both.

    Parameters
    ----------
    stem : str
        The photo's own, see `output_stems`.
    name, tray : str
        The photo's path and the tray's id.
    """
    checksum = hashlib.sha256(f"{name}\n{tray}".encode("utf-8", "surrogateescape")).hexdigest()[:8]
    return f"{stem}-{re.sub(r'[^A-Za-z0-9_-]', '_', tray)}-{checksum}"


def _checked_stem(path: PurePosixPath) -> str:
    checksum = hashlib.sha256(path.as_posix().encode("utf-8", "surrogateescape")).hexdigest()[:8]
    return f"{'-'.join(path.with_suffix('').parts)}-{checksum}"


def _in_folder(folder: Path, out: Path | None) -> list[Source]:
    avoid = out.resolve() if out is not None else None
    paths = [path for path in _walk(folder, avoid) if path.suffix.lower() in PHOTO_SUFFIXES]
    sources = [Source(path, path.relative_to(folder).as_posix(), folder, True) for path in paths]
    return sorted(sources, key=lambda source: source.name)


def _walk(folder: Path, avoid: Path | None) -> Iterator[Path]:
    for here, folders, files in os.walk(folder):
        base = Path(here)
        folders[:] = [name for name in folders if not name.startswith(".") and not _is_result(base / name, avoid)]
        yield from (base / name for name in files if not name.startswith("."))


def _is_result(folder: Path, avoid: Path | None) -> bool:
    if folder.name in RESULT_FOLDERS:
        return True
    if avoid is not None and folder.resolve() == avoid:
        return True
    return (folder / RUN_FILE).is_file() and (folder / "cells.csv").is_file()


def _with_unique_names(sources: list[Source]) -> list[Source]:
    """Put the folder's own name before the photo's where photos of several given folders have the same name."""
    counts = Counter(source.name for source in sources)
    if max(counts.values(), default=0) < 2:
        return sources
    longer = [
        Source(source.path, f"{source.root.resolve().name}/{source.name}", source.root, source.from_folder)
        for source in sources
    ]
    repeated = [name for name, count in Counter(source.name for source in longer).items() if count > 1]
    if repeated:
        raise UsageError(
            f"{repeated[0]}: two given folders of one name hold it; give the folder above them, or score them apart"
        )
    return longer
