"""Saved views as files: `views/NAME.json` for people and machines to read, `views/NAME.jpg` to check photos by."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from canopy.batch.folder import VIEWS
from canopy.errors import UsageError, did_you_mean
from canopy.records import SavedView

FORMAT = 1
"""Number of the file's format; raised when old files can no longer be read."""

ViewNamed = Callable[[str], SavedView]
"""Gives the saved view of a name; raises `UsageError` where there is none that can be used."""


def no_views(name: str) -> SavedView:
    """Where no folder is known, no view is."""
    raise UsageError(f"view `{name}`: no folder of saved views is known here; use `corners`")


def views_below(folder: Path) -> ViewNamed:
    """A function that reads the saved views of a farm's folder by name, each once."""
    return cache(lambda name: read_view(folder / VIEWS, name))


def read_view(folder: Path, name: str) -> SavedView:
    """Read a saved view from the folder `views`.

    Raises
    ------
    UsageError
        There is no such view, or one of its two files cannot be used.
    """
    path = folder / f"{name}.json"
    if Path(name).name != name or not path.is_file():
        known = sorted(file.stem for file in folder.glob("*.json"))
        hint = did_you_mean(name, known, before=", ")
        raise UsageError(f"view `{name}`: {VIEWS}/ holds none of that name{hint}; save it with `canopy view save`")
    try:
        return _from_text(path.read_text(encoding="utf-8"), path.with_suffix(".jpg").read_bytes())
    except OSError as error:
        wrong = f"{error.filename}: {error.strerror}"
    except ValidationError as error:
        wrong = f"{'.'.join(str(part) for part in error.errors()[0]['loc'])}: {error.errors()[0]['msg']}"
    except (ValueError, TypeError) as error:
        wrong = str(error)
    raise UsageError(f"view `{name}`: {VIEWS}/{path.name} cannot be used ({wrong}); save it anew with --replace")


def write_view(folder: Path, view: SavedView, *, replace: bool = False) -> Path:
    """Write both files of a view into the folder `views`, the picture first; the path of the readable one comes back.

    Raises
    ------
    UsageError
        There is one of that name, or the folder cannot be written.
    """
    path = folder / f"{view.name}.json"
    if path.exists() and not replace:
        raise UsageError(f"{path}: is there already; choose another name, or say --replace")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file, data in ((path.with_suffix(".jpg"), view.picture), (path, _as_text(view).encode())):
            part = file.with_name(file.name + ".part")
            part.write_bytes(data)
            part.replace(file)
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}); make room or change its rights") from None
    return path


def _as_text(view: SavedView) -> str:
    data = view.model_dump(mode="json", exclude={"picture"})
    return json.dumps({"format": FORMAT, **data, "picture_sha256": _checksum(view.picture)}, indent=2) + "\n"


def _from_text(text: str, picture: bytes) -> SavedView:
    data: Any = json.loads(text)
    if not isinstance(data, dict) or data.pop("format", None) != FORMAT:
        raise ValueError(f"is no saved view of format {FORMAT}")
    if data.pop("picture_sha256", None) != _checksum(picture):
        raise ValueError("its picture is another one than was saved")
    return SavedView.model_validate({**data, "picture": picture})


def _checksum(picture: bytes) -> str:
    return hashlib.sha256(picture).hexdigest()
