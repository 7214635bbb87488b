"""What can be raised: one family per room, every message starting with the file or the field it is about."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class CanopyError(Exception):
    """Anything the tool refuses to do, said in one line that names the thing and the mend."""


class UsageError(CanopyError):
    """The command, a settings file or a tray list cannot be used as given (exit code 2)."""


class StoreError(CanopyError):
    """The store of readings cannot be opened, read or written, or is of another version."""


class StoreBusy(StoreError):
    """Another pass is taking photos in; it will do what this one would have done."""


class PhotoError(CanopyError):
    """A photo that is set aside; `code` is the reason stored in tables (see `canopy.reasons`)."""

    def __init__(self, code: str, message: str) -> None:
        """Set the message and the reason's code."""
        super().__init__(message)
        self.code = code


class PhotoUnreadable(PhotoError):
    """The bytes are not a photo that can be measured: truncated, not an image, too large, too small."""


class TrayNotFound(PhotoError):
    """The tray could not be located, or the fit is doubtful."""


def did_you_mean(name: str, known: Iterable[str], *, before: str = "", after: str = "", cutoff: float = 0.6) -> str:
    """The question that names the known word nearest to a mistyped one, or nothing.

    Parameters
    ----------
    name : str
        What was typed.
    known : iterable of str
    before, after : str
        Put round the question, only when there is one.
    cutoff : float
        How alike the words must be, 0..1 (`difflib.get_close_matches`).
    """
    near = difflib.get_close_matches(name, list(known), n=1, cutoff=cutoff)
    return f"{before}did you mean `{near[0]}`?{after}" if near else ""
