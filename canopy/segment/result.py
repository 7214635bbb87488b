"""What segmentation says of a rectified tray: how much of each pixel is plant, and whose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Segmentation:
    """Plant share and owner of each pixel of the rectified tray.

    Attributes
    ----------
    cover : (M, N) float32 ndarray
        Share of the pixel covered by living canopy, 0..1; fractions near edges, so that sums have no bias.
    owner : (M, N) uint16 ndarray
        0 = none, else cell number n = (row − 1)·columns + col of the plant the pixel belongs to (overhang included).
    doubt : (M, N) float32 ndarray
        Standard uncertainty of `cover` per pixel, 0..0.5 (edge position and doubtful classification).
    contact : (cells,) float ndarray
        Share of each plant's outline that touches a neighbour's canopy, 0..1; NaN for cells without a plant.
    disputed : (cells,) float ndarray
        Share of each plant that may be a neighbour's, 0..1, by how its leaves name their cell; NaN without a plant.
    agreement : float
        Dice of the network's mask and the plain second opinion's, 0..1; 1 when both are empty.
    """

    cover: NDArray[np.float32]
    owner: NDArray[np.uint16]
    doubt: NDArray[np.float32]
    contact: NDArray[np.float64]
    disputed: NDArray[np.float64]
    agreement: float
