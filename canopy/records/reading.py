"""What one photo said of one tray: tables and remarks, no images."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Remark:
    """A doubt or a note about a photo or a cell; `code` is a key of `canopy.reasons.REASONS`.

    Attributes
    ----------
    code : str
    text : str
        One sentence for people, with the figures that decided it.
    cell : str
        Cell name, or empty for the whole photo.
    """

    code: str
    text: str
    cell: str = ""


@dataclass(frozen=True)
class Reading:
    """The result of the map step.

    Attributes
    ----------
    photo : str
        Path below the given folder, with forward slashes.
    tray : str
        Tray id.
    cells : pandas.DataFrame
        One row per cell, the columns of `cells.csv` in order (see `canopy.measure.columns`).
    trays : pandas.DataFrame
        Exactly one row, the columns of `trays.csv`.
    criteria : pandas.DataFrame
        One row per cell and criterion: `cell, criterion, value, unit, desirability, weight`; empty without a recipe.
    remarks : tuple of Remark
        Doubts and notes, photo first, then cells in reading order.
    """

    photo: str
    tray: str
    cells: pd.DataFrame
    trays: pd.DataFrame
    criteria: pd.DataFrame
    remarks: tuple[Remark, ...] = field(default=())
