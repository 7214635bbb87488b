"""What can be raised: one family per room, every message starting with the file or the field it is about."""

from __future__ import annotations


class CanopyError(Exception):
    """Anything the tool refuses to do, said in one line that names the thing and the mend."""


class UsageError(CanopyError):
    """The command, a settings file or a tray list cannot be used as given (exit code 2)."""


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
