"""A tray's geometry in millimetres: how many cells, how far apart, inside which outline."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, model_validator

FloatArray = NDArray[np.float64]


def cell_name(row: int, col: int) -> str:
    """Name of a cell as on a laboratory plate (ANSI/SLAS 4-2004): row letter + column number.

    Parameters
    ----------
    row, col : int
        1-based. Rows past 26 continue AA, AB, … as spreadsheet columns do.

    Returns
    -------
    str
        `A1` for row 1, column 1; `AB12` for row 28, column 12.
    """
    if row < 1 or col < 1:
        raise ValueError(f"row and col count from 1, got row {row}, col {col}")
    letters = ""
    while row:
        row, rest = divmod(row - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return f"{letters}{col}"


class Markers(BaseModel):
    """Printed corner markers: OpenCV ArUco DICT_4X4_50, ids 0..3 clockwise from A1's corner."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    side_mm: float = Field(20.0, ge=5, le=200, description="Side of the black square of one marker.")
    offset_mm: float = Field(
        15.0, ge=0, le=500, description="How far the marker's centre lies outside the tray corner, in x and in y."
    )


class Layout(BaseModel):
    """Rows × columns of cells, their pitch and the tray's outline.

    Millimetres run from the outline's corner 0 (by A1): x along row A towards the last column, y towards the last row.
    The grid of cells is centred in the outline.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field(description="Name in the tray list, such as `72` or `6x12`.")
    rows: int = Field(ge=1, le=200, description="Number of rows (A, B, …).")
    columns: int = Field(ge=1, le=200, description="Number of columns (1, 2, …).")
    pitch_x_mm: float = Field(gt=0, le=2000, description="Distance of neighbouring cell centres along a row.")
    pitch_y_mm: float = Field(gt=0, le=2000, description="Distance of neighbouring cell centres along a column.")
    outline_width_mm: float = Field(gt=0, le=5000, description="Outer size of the tray along a row.")
    outline_height_mm: float = Field(gt=0, le=5000, description="Outer size of the tray along a column.")
    row_offset_mm: float = Field(
        0.0, ge=-1000, le=1000, description="Shift in x of every second row (staggered trays); 0 for a square grid."
    )
    kind: str = Field("cells", pattern="^(cells|raft|cubes|mat)$", description="Cells of a tray, raft, cubes or mat.")
    markers: Markers = Field(default_factory=Markers, description="Corner markers that belong to the tray.")
    source: str = Field("given", description="Where the sizes come from, such as `common practice, no source`.")

    @model_validator(mode="after")
    def _grid_fits_outline(self) -> Layout:
        # Half a pitch of tolerance: published outlines and pitches are rounded, and rafts have cells right at the rim.
        for axis, grid, outline, pitch in (
            ("width", self.columns * self.pitch_x_mm, self.outline_width_mm, self.pitch_x_mm),
            ("height", self.rows * self.pitch_y_mm, self.outline_height_mm, self.pitch_y_mm),
        ):
            if grid > outline + pitch / 2:
                raise ValueError(
                    f"layout {self.name}: cells need {grid:g} mm but the outline's {axis} is {outline:g} mm; "
                    "correct `pitch_mm` or `outline_mm`"
                )
        return self

    @property
    def cells(self) -> int:
        """Number of cells."""
        return self.rows * self.columns

    @property
    def outline_mm(self) -> FloatArray:
        """(4, 2) corners 0..3 of the outline, clockwise from A1's corner, mm."""
        w, h = self.outline_width_mm, self.outline_height_mm
        return np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]])

    def centres_mm(self) -> FloatArray:
        """(rows × columns, 2) cell centres in reading order (A1, A2, …, B1, …), mm."""
        col, row = np.meshgrid(np.arange(self.columns), np.arange(self.rows))
        x = (self.outline_width_mm - (self.columns - 1) * self.pitch_x_mm) / 2 + col * self.pitch_x_mm
        y = (self.outline_height_mm - (self.rows - 1) * self.pitch_y_mm) / 2 + row * self.pitch_y_mm
        x = x + (row % 2) * self.row_offset_mm - self.row_offset_mm / 2 * (self.rows > 1)
        return np.stack([x.ravel(), y.ravel()], axis=1)

    def names(self) -> list[str]:
        """Cell names in reading order."""
        return [cell_name(r + 1, c + 1) for r in range(self.rows) for c in range(self.columns)]

    @property
    def cell_area_mm2(self) -> float:
        """Area of one cell of the grid (pitch × pitch), the denominator of cover."""
        return self.pitch_x_mm * self.pitch_y_mm
