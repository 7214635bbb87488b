"""The grid of cells as leaves at their height see it, with one ring of cells beyond the tray for its neighbours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.records import Height, Layout

Floats = NDArray[np.float32]
Ints = NDArray[np.int32]


@dataclass(frozen=True)
class CellGrid:
    """Cells numbered row by row over (rows + 2) × (columns + 2), the ring beyond the tray included.

    Attributes
    ----------
    layout : Layout
    stretch : float
        How much further from the nadir than its root the middle of a plant looks; 1 when heights are unknown.
    nadir_mm : tuple of float
    """

    layout: Layout
    stretch: float
    nadir_mm: tuple[float, float]

    @property
    def columns(self) -> int:
        """Columns including the ring."""
        return self.layout.columns + 2

    @property
    def count(self) -> int:
        """Cells including the ring."""
        return (self.layout.rows + 2) * self.columns

    @property
    def pitch_mm(self) -> float:
        """The smaller of both pitches."""
        return min(self.layout.pitch_x_mm, self.layout.pitch_y_mm)

    def centres_mm(self) -> Floats:
        """(count, 2) centres, ring included, rim plane."""
        layout = self.layout
        row, col = np.divmod(np.arange(self.count), self.columns)
        x = self._first_x_mm(row - 1) + (col - 1) * layout.pitch_x_mm
        y = self._first_y_mm() + (row - 1) * layout.pitch_y_mm
        return np.stack([x, y], axis=1).astype(np.float32)

    def numbers(self) -> Ints:
        """(count,) number n = (row − 1)·columns + col in the tray of each cell here; 0 for the ring."""
        row, col = np.divmod(np.arange(self.count, dtype=np.int32), self.columns)
        ours = (row >= 1) & (row <= self.layout.rows) & (col >= 1) & (col <= self.layout.columns)
        return np.where(ours, (row - 1) * self.layout.columns + col, 0).astype(np.int32)

    def rooted_mm(self, x_mm: Floats, y_mm: Floats) -> tuple[Floats, Floats]:
        """Where in the rim plane a leaf seen at (x, y) has its root: towards the nadir."""
        scale, (x0, y0) = np.float32(1 / self.stretch), self.nadir_mm
        return (x_mm - np.float32(x0)) * scale + np.float32(x0), (y_mm - np.float32(y0)) * scale + np.float32(y0)

    def cell_at(self, x_mm: Floats, y_mm: Floats) -> Ints:
        """Cell whose centre is nearest by row, then by column; places beyond the ring count to it."""
        layout = self.layout
        row = np.rint((y_mm - np.float32(self._first_y_mm())) / np.float32(layout.pitch_y_mm)).astype(np.int32)
        row = np.clip(row, -1, layout.rows)
        first_x = self._first_x_mm(np.arange(-1, layout.rows + 1)).astype(np.float32)[row + 1]
        col = np.rint((x_mm - first_x) / np.float32(layout.pitch_x_mm)).astype(np.int32)
        cell: Ints = (row + 1) * np.int32(self.columns) + np.clip(col, -1, layout.columns) + np.int32(1)
        return cell

    def beyond_mm(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """How far outside the outline a place lies; negative inside."""
        layout = self.layout
        along_x = np.maximum(-x_mm, x_mm - np.float32(layout.outline_width_mm))
        along_y = np.maximum(-y_mm, y_mm - np.float32(layout.outline_height_mm))
        beyond: Floats = np.maximum(along_x, along_y)
        return beyond

    def _first_x_mm(self, row: NDArray[np.int64]) -> NDArray[np.float64]:
        layout = self.layout
        first = (layout.outline_width_mm - (layout.columns - 1) * layout.pitch_x_mm) / 2
        shift = (row % 2).astype(np.float64) * layout.row_offset_mm
        return first + shift - layout.row_offset_mm / 2 * (layout.rows > 1)

    def _first_y_mm(self) -> float:
        return (self.layout.outline_height_mm - (self.layout.rows - 1) * self.layout.pitch_y_mm) / 2


def cell_grid(layout: Layout, height: Height) -> CellGrid:
    """The grid for a layout; the middle of a plant of height h under a lens at height d looks d/(d − h/2) away.

    Half the canopy's height, because a plant's outline has leaves of all heights.
    """
    stretch = 1.0
    if height.canopy_mm is not None and height.camera_mm is not None:
        middle_mm = min(height.canopy_mm / 2, height.camera_mm / 2)
        stretch = height.camera_mm / (height.camera_mm - middle_mm)
    return CellGrid(layout, stretch, height.nadir_mm)
