"""The mapping between tray millimetres and photo pixels, both ways."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# Newton on a cubic from a close start: four rounds reach 1e-12 for any lens in range; ten leave room at the rim.
_NEWTON_ROUNDS = 10


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
        `markers`, `3 markers`, `corners`, `saved view NAME, followed N px`, `whole picture` or `outline`.
    camera_mm : tuple of float or None
        (x, y, z): point of the rim plane straight below the lens and height of the lens over it; None if unknown.
    focal_source : str
        What the tilt rests on: `exif`, `camera height`, `assumed` (then it is right to about a third), or empty.
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
    focal_source: str = ""

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Tray mm → decoded-image pixels; (n, 2) → (n, 2); NaN for points that lie behind the camera."""
        ideal = apply_homography(self.px_from_mm, points_mm)
        if not self.k1:
            return ideal
        return distort(ideal, self.k1, width_px=self.width_px, height_px=self.height_px)

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Decoded-image pixels → tray mm of the rim plane; (n, 2) → (n, 2); NaN where no ray reaches the plane."""
        ideal = points_px
        if self.k1:
            ideal = undistort(points_px, self.k1, width_px=self.width_px, height_px=self.height_px)
        return apply_homography(np.asarray(np.linalg.inv(self.px_from_mm), np.float64), ideal)


def apply_homography(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Map (n, 2) points; NaN where the plane is seen from behind (the third coordinate is not positive)."""
    x, y = np.asarray(points, np.float64).T
    # Written out: three times faster than stacking a column of ones for a matrix product.
    w = matrix[2, 0] * x + matrix[2, 1] * y + matrix[2, 2]
    w = np.where(w > 0, w, np.nan)
    return np.stack(
        [
            (matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2]) / w,
            (matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2]) / w,
        ],
        axis=1,
    )


def distort(points_px: FloatArray, k1: float, *, width_px: int, height_px: int) -> FloatArray:
    """Ideal → seen pixels by the first radial term of Brown–Conrady; (n, 2) → (n, 2)."""
    centre, unit = picture_centre(width_px, height_px), half_diagonal(width_px, height_px)
    away = np.asarray(points_px, np.float64) - centre
    r2 = np.sum(away**2, axis=1, keepdims=True) / unit**2
    return np.asarray(centre + away * (1 + k1 * r2))


def undistort(points_px: FloatArray, k1: float, *, width_px: int, height_px: int) -> FloatArray:
    """Seen → ideal pixels: r·(1 + k1·r²) = seen radius, solved by Newton; NaN past the radius where the lens folds."""
    centre, unit = picture_centre(width_px, height_px), half_diagonal(width_px, height_px)
    away = np.asarray(points_px, np.float64) - centre
    seen = np.hypot(away[:, 0], away[:, 1]) / unit
    r = seen.copy()
    with np.errstate(all="ignore"):
        for _ in range(_NEWTON_ROUNDS):
            r -= (r * (1 + k1 * r**2) - seen) / (1 + 3 * k1 * r**2)
        # A barrel lens (k1 < 0) reaches its largest seen radius where 1 + 3·k1·r² = 0; nothing is imaged beyond.
        good = (r >= 0) & (1 + 3 * k1 * r**2 > 0)
        factor = np.where(good, np.where(seen > 0, r / seen, 1.0), np.nan)
    return np.asarray(centre + away * factor[:, None])


def picture_centre(width_px: int, height_px: int) -> FloatArray:
    """(x, y) of the picture's centre, pixel centres at whole numbers."""
    return np.array([(width_px - 1) / 2, (height_px - 1) / 2])


def half_diagonal(width_px: int, height_px: int) -> float:
    """Half the picture's diagonal in pixels, the unit of the lens term's radius."""
    return math.hypot(width_px, height_px) / 2
