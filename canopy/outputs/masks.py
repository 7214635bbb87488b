"""Whose plant each pixel of the photo is, as a 16-bit picture in the photo's own upright pixel grid."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.tray.rectify import to_photo_grid

if TYPE_CHECKING:
    from canopy.analyse import Worked


def photo_mask(worked: Worked, *, cover_min: float) -> NDArray[np.uint16]:
    """Map the plants back onto the photo.

    Parameters
    ----------
    worked : Worked
    cover_min : float
        Share of a pixel that must be plant.

    Returns
    -------
    (full height, full width) uint16 ndarray
        0 = background, else n = (row − 1)·columns + col.
    """
    onto_photo = partial(
        to_photo_grid,
        rectified=worked.rectified,
        frame=worked.frame,
        width_px=worked.photo.full_width_px,
        height_px=worked.photo.full_height_px,
        reduction=worked.photo.reduction,
    )
    cover = onto_photo(worked.segmentation.cover, interpolation=cv2.INTER_LINEAR)
    owner = onto_photo(worked.segmentation.owner, interpolation=cv2.INTER_NEAREST)
    return np.where(cover >= cover_min, owner, 0).astype(np.uint16)


def png_bytes(mask: NDArray[np.uint16], *, compression: int) -> bytes:
    """Encode a mask as PNG without loss."""
    done, data = cv2.imencode(".png", mask, [cv2.IMWRITE_PNG_COMPRESSION, compression])
    if not done:
        raise RuntimeError("OpenCV could not encode a PNG")
    return bytes(data.tobytes())
