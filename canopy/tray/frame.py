"""The mapping between tray millimetres and photo pixels, both ways."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Frame:
    """Where the tray's rim plane lies in a decoded photo.

    A point of the rim plane is mapped by a homography to an ideal pixel, then moved along its radius from the picture
    centre by the lens term: distorted = centre + (ideal − centre)·(1 + k1·r²), r in units of half the picture's
    diagonal (Brown–Conrady, first radial term only).

    Attributes
    ----------
    px_from_mm : (3, 3) ndarray
        Homography from tray mm to ideal pixels of the decoded image (pixel centres at whole numbers).
    k1 : float
        Radial lens term; 0 for none.
    width_px, height_px : int
        Size of the decoded image.
    mm_per_px : float
        Scale at the tray's centre (geometric mean of both directions), decoded image.
    tilt_deg : float
        Angle between the camera axis and the normal of the rim plane.
    residual_px : float
        Root mean square distance of the fitted points from where they were seen; 0 where the fit is exact.
    located_by : str
        `markers`, `3 markers`, `corners` or `whole picture`.
    camera_mm : tuple of float or None
        (x, y, z): point of the rim plane straight below the lens and height of the lens over it; None if unknown.
    """

    px_from_mm: FloatArray
    k1: float
    width_px: int
    height_px: int
    mm_per_px: float
    tilt_deg: float
    residual_px: float
    located_by: str
    camera_mm: tuple[float, float, float] | None

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Tray mm → decoded-image pixels; (n, 2) → (n, 2)."""
        raise NotImplementedError

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Decoded-image pixels → tray mm of the rim plane; (n, 2) → (n, 2)."""
        raise NotImplementedError
