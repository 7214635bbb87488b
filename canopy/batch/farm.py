"""The farm folder: settings, tray list, recipes and views, found from anywhere inside it."""

from __future__ import annotations

from pathlib import Path

RECIPES = "recipes"
"""The folder of own recipes, beside the settings: every `.toml` file in it holds `[[crop]]` blocks."""


def beside_or_above(folder: Path, name: str) -> Path | None:
    """The file of this name in a folder or in the nearest one above it; None where there is none."""
    if (folder / name).is_file():
        return folder / name
    return next((above / name for above in folder.absolute().parents if (above / name).is_file()), None)
