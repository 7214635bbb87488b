"""A decoded photo: upright sRGB pixels and what the file says of itself."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Photo:
    """Upright sRGB pixels of one photo, possibly decoded at a fraction of its size.

    Attributes
    ----------
    name : str
        Path below the given folder, with forward slashes.
    rgb : (M, N, 3) uint8 ndarray
        sRGB code values, upright (EXIF orientation already applied).
    reduction : int
        1, 2, 4 or 8: full size divided by this gave `rgb`. A full-size pixel x lies at (x + 0.5)/reduction − 0.5.
    full_width_px, full_height_px : int
        Upright size of the picture in the file.
    taken_at : datetime or None
        Local time of exposure; aware when the offset is known.
    taken_at_source : str
        `exif with offset`, `exif`, `file name`, `file date` or empty.
    focal_length_px : float or None
        Focal length in full-size pixels, from EXIF, if it says enough.
    """

    name: str
    rgb: NDArray[np.uint8]
    reduction: int
    full_width_px: int
    full_height_px: int
    taken_at: datetime | None
    taken_at_source: str
    focal_length_px: float | None
