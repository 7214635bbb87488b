"""The tray seen from straight above: the photo resampled onto an even grid of millimetres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Rectified:
    """The tray and a margin around it (for leaves over the rim) on an even millimetre grid of the rim plane.

    Attributes
    ----------
    rgb : (M, N, 3) uint8 ndarray
        sRGB; black where the photo does not reach.
    inside : (M, N) bool ndarray
        True where the photo reaches.
    mm_per_px : float
    x0_mm, y0_mm : float
        Tray mm of the centre of pixel [0, 0]; pixel [i, j] lies at (x0 + j·mm_per_px, y0 + i·mm_per_px).
    """

    rgb: NDArray[np.uint8]
    inside: NDArray[np.bool_]
    mm_per_px: float
    x0_mm: float
    y0_mm: float

    def to_px(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Tray mm → (column, row) pixel coordinates of this grid; (n, 2) → (n, 2)."""
        return (points_mm - (self.x0_mm, self.y0_mm)) / self.mm_per_px

    def to_mm(self, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """(column, row) pixel coordinates of this grid → tray mm; (n, 2) → (n, 2)."""
        return points_px * self.mm_per_px + (self.x0_mm, self.y0_mm)
