"""Printed sheets: the PDF written to a file, and a photo of a print read."""

from __future__ import annotations

from pathlib import Path

from canopy.batch.plan import configuration_for
from canopy.batch.trays_csv import read_trays
from canopy.errors import UsageError
from canopy.photo import decode
from canopy.sheet import PrintCheck, check_print, draw_sheet, plan_for
from canopy.words import words_in


def write_sheet(out: Path, *, paper: str, trays: Path | None, settings: Path | None, language: str | None) -> int:
    """Write the sheet as PDF, with a label for every tray of a tray list.

    Parameters
    ----------
    out : pathlib.Path
    paper : str
        `a4` or `letter`.
    trays : pathlib.Path, optional
        Tray list; no labels without one.
    settings : pathlib.Path, optional
        By default `canopy.toml` beside the tray list.
    language : str, optional
        By default that of the settings.

    Returns
    -------
    int
        Labels.

    Raises
    ------
    UsageError
        A file cannot be read or written, or paper or language is not known.
    """
    folders = [trays.parent] if trays is not None else []
    configuration = configuration_for(folders, given=settings).in_language(language)
    names: list[str] = []
    if trays is not None:
        listed = read_trays(trays, recipes=configuration.recipes, layouts=configuration.layouts)
        names = list(dict.fromkeys(line.tray for line in listed.lines if line.tray))
    words = words_in(configuration.settings.outputs.language)
    pdf = draw_sheet(plan_for(paper), names, words=words, settings=configuration.settings.sheet)
    try:
        out.write_bytes(pdf)
    except OSError as error:
        raise UsageError(f"{out}: cannot be written ({error.strerror}); choose another place") from None
    return len(names)


def check_sheet_photo(photo: Path, *, settings: Path | None) -> PrintCheck:
    """At which scale the sheet on a photo was printed (see `canopy.sheet.check_print`).

    Raises
    ------
    UsageError
        A file cannot be read.
    PhotoError
        It is no photo, or no sheet is seen in it.
    """
    configuration = configuration_for([photo.parent], given=settings)
    try:
        data = photo.read_bytes()
    except OSError as error:
        raise UsageError(f"{photo}: cannot be opened ({error.strerror}); check the path and its rights") from None
    look = configuration.settings
    decoded = decode(data, name=photo.name, min_long_side_px=look.sheet.check_long_side_px, settings=look.photo)
    return check_print(decoded, settings=look)
