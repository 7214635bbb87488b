"""From files, folders and tray lists to a list of jobs: one photo, its tray's record and recipe each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from canopy.batch.farm import beside_or_above
from canopy.batch.folder import Source, find_photos, output_stems, stem_among
from canopy.batch.job import Job, SetAside
from canopy.batch.settings_toml import SETTINGS_FILE, Configuration, read_settings
from canopy.batch.trays_csv import TRAYS_FILE, Line, TrayList, absent_photos, lines_for, read_trays
from canopy.batch.twins import without_equal_files
from canopy.errors import PhotoError, UsageError


@dataclass(frozen=True)
class Plan:
    """What a run will do.

    Attributes
    ----------
    jobs : tuple of Job or SetAside
        In the order of the tables; photos that cannot be worked through are already set aside.
    configuration : Configuration
    problems : tuple of str
        Lines of tray lists that cannot be used, each once; their photos are set aside and the others go on.
    """

    jobs: tuple[Job | SetAside, ...]
    configuration: Configuration
    problems: tuple[str, ...]


def make_plan(
    inputs: Sequence[Path], *, trays: Path | None = None, settings: Path | None = None, out: Path | None = None
) -> Plan:
    """Find the photos, read tray lists and settings, and say for each photo what is to be done.

    Parameters
    ----------
    inputs : sequence of pathlib.Path
        Photos and folders.
    trays, settings : pathlib.Path, optional
        Tray list and settings file; by default those beside the photos.
    out : pathlib.Path, optional
        Folder for the results, never searched for photos.

    Raises
    ------
    UsageError
        No photo at all, no tray list, or a file that cannot be used as a whole.
    """
    sources, empty = find_photos(inputs, out=out)
    if not sources:
        where = ", ".join(str(path) for path in empty) or "nothing given"
        raise UsageError(f"{where}: no photos found; give photos (JPEG, PNG, TIFF, WebP, HEIC) or their folder")
    roots = list(dict.fromkeys(source.root for source in sources))
    configuration = configuration_for(roots, given=settings)
    files = {root: _tray_list_of(root, trays) for root in roots}
    lists = {
        root: read_trays(file, recipes=configuration.recipes, layouts=configuration.layouts)
        for root, file in files.items()
    }
    stems = output_stems(source.name for source in sources)
    jobs: list[Job | SetAside] = [
        job
        for source in sources
        for job in _jobs(source, stems[source.name], lists[source.root], below=files[source.root].parent)
    ]
    # A list of a farm that the folder is only a part of says nothing of what should be in that part.
    whole = {root for root, file in files.items() if trays is not None or file.parent == root}
    jobs += _absent(sources, {root: tray_list for root, tray_list in lists.items() if root in whole})
    jobs += [SetAside(f"{path.name}/", "", "no_photos", f"{path.name}: folder without photos") for path in empty]
    problems = dict.fromkeys(problem for tray_list in lists.values() for problem in tray_list.problems)
    return Plan(tuple(without_equal_files(jobs)), configuration, tuple(problems))


def _jobs(source: Source, stem: str, trays: TrayList, *, below: Path) -> list[Job | SetAside]:
    """One job for each tray that the photo shows."""
    try:
        lines = _lines_of(source, trays, below=below)
    except PhotoError as error:
        return [SetAside(source.name, "", error.code, str(error))]
    stems = [stem] if len(lines) == 1 else [stem_among(stem, source.name, line.tray) for line in lines]
    return [
        SetAside(source.name, line.tray, "tray_list", line.problem)
        if line.record is None
        else Job(source, own, line.record, line.recipe)
        for line, own in zip(lines, stems, strict=True)
    ]


def _lines_of(source: Source, trays: TrayList, *, below: Path) -> list[Line]:
    """The photo's lines, by its name in the tables or else by its path below the tray list's folder.

    The second way lets a single photo in a sub-folder be given with the list of the whole folder.
    """
    try:
        return lines_for(source.name, trays)
    except PhotoError as error:
        path, folder = source.path.resolve(), below.resolve()
        if error.code != "not_listed" or not path.is_relative_to(folder):
            raise
        return lines_for(path.relative_to(folder).as_posix(), trays)


def _absent(sources: Sequence[Source], lists: dict[Path, TrayList]) -> list[SetAside]:
    """Photos that a tray list names but that are not there; only where a whole folder was given."""
    found: dict[str, SetAside] = {}
    whole = {source.root for source in sources if source.from_folder}
    names = [source.name for source in sources]
    below_root = [source.path.relative_to(source.root).as_posix() for source in sources]
    for root in [root for root in lists if root in whole]:
        for line in absent_photos([*names, *below_root], lists[root]):
            message = f"{line.photo}: named in {lists[root].name}, line {line.number}, but not there"
            found.setdefault(line.photo, SetAside(line.photo, line.tray, "missing", message))
    return list(found.values())


def configuration_for(roots: Sequence[Path], *, given: Path | None) -> Configuration:
    """Settings from the given file, else from the one beside the photos or above, else the defaults.

    Raises
    ------
    UsageError
        Two folders have a file each, or it cannot be used.
    """
    if given is not None:
        return read_settings(given)
    beside = [file for root in roots if (file := beside_or_above(root, SETTINGS_FILE)) is not None]
    if len({path.resolve() for path in beside}) > 1:
        raise UsageError(f"{beside[0]} and {beside[1]}: two settings files; say which one with --settings")
    return read_settings(beside[0]) if beside else Configuration()


def _tray_list_of(root: Path, given: Path | None) -> Path:
    path = given or beside_or_above(root, TRAYS_FILE) or root / TRAYS_FILE
    if not path.is_file():
        raise UsageError(
            f"{path}: no such tray list; give one with --trays, or run `canopy init {root}` for a starter to fill in"
        )
    return path


def tray_list_for(root: Path, *, given: Path | None, configuration: Configuration) -> tuple[TrayList, Path]:
    """The tray list of one folder, given, beside its photos or above them, and the folder that the list lies in.

    Raises
    ------
    UsageError
        There is none, or it cannot be used as a whole.
    """
    file = _tray_list_of(root, given)
    return read_trays(file, recipes=configuration.recipes, layouts=configuration.layouts), file.parent


def jobs_of(source: Source, trays: TrayList, *, below: Path) -> list[Job | SetAside]:
    """What is to be done with one photo by a tray list in the folder `below`: a job for each tray that it shows."""
    return _jobs(source, source.path.stem, trays, below=below)
