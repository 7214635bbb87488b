"""Text files as people save them, read with clear errors."""

from __future__ import annotations

from pathlib import Path

from canopy.errors import UsageError


def read_text(path: Path) -> str:
    """Text of a UTF-8 file, a byte order mark (as spreadsheets write it) left out.

    Raises
    ------
    UsageError
        The file is absent, cannot be opened or is not UTF-8.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise UsageError(f"{path}: no such file; check the path, or run `canopy init` for a starter") from None
    except UnicodeDecodeError:
        raise UsageError(f"{path}: not UTF-8 text; save it again as UTF-8") from None
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror}); check its rights") from None
