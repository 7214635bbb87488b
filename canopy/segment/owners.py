"""Owners on the full grid, and how much each plant touches its neighbours."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int32]


def spread_owners(owner: Ints, cover: NDArray[np.float32]) -> NDArray[np.uint16]:
    """Owner of each pixel of the full grid with any cover: that of the nearest owned place of the reduced grid.

    Parameters
    ----------
    owner : (k, l) int32 ndarray
        −1 bare, 0 canopy of no cell, else cell number (see `canopy.segment.split`).
    cover : (M, N) float32 ndarray

    Returns
    -------
    (M, N) uint16 ndarray
        0 where there is no cover or no owner.
    """
    bare = owner < 0
    if bare.all():
        return np.zeros(cover.shape, dtype=np.uint16)
    _, labels = cv2.distanceTransformWithLabels(
        bare.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    nearest = np.asarray(labels, dtype=np.int32)
    of_label = np.zeros(int(nearest.max()) + 1, dtype=np.uint16)
    owned = np.flatnonzero(~bare)
    of_label[nearest.ravel().take(owned)] = owner.ravel().take(owned)
    rows, cols = cover.shape
    enlarged = cv2.resize(of_label.take(nearest), (cols, rows), interpolation=cv2.INTER_NEAREST_EXACT)
    full = np.asarray(enlarged, dtype=np.uint16)
    full *= cover > 0
    return full


def contact_shares(owner: Ints, *, cells: int) -> NDArray[np.float64]:
    """Share of each plant's outline that touches canopy of another owner.

    Parameters
    ----------
    owner : (k, l) int32 ndarray
        As for `spread_owners`.
    cells : int

    Returns
    -------
    (cells,) float ndarray
        0..1, counted in pixel sides; NaN for cells without a plant.
    """
    outline = np.zeros(cells + 1)
    touching = np.zeros(cells + 1)
    framed = cv2.copyMakeBorder(owner, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=-1)
    for one, other in ((framed[1:], framed[:-1]), (framed[:, 1:], framed[:, :-1])):
        differs = np.flatnonzero(one != other)
        here, there = one.ravel().take(differs), other.ravel().take(differs)
        for mine, theirs in ((here, there), (there, here)):
            plant = mine > 0
            outline += np.bincount(mine[plant], minlength=cells + 1)
            touching += np.bincount(mine[plant & (theirs >= 0)], minlength=cells + 1)
    shares = np.full(cells, np.nan)
    np.divide(touching[1:], outline[1:], out=shares, where=outline[1:] > 0)
    return shares


def disputed_shares(owner: Ints, doubt: NDArray[np.float32], *, cells: int) -> NDArray[np.float64]:
    """Mean of `doubt` over each plant; NaN for cells without a plant.

    Parameters
    ----------
    owner : (k, l) int32 ndarray
        As for `spread_owners`.
    doubt : (k, l) float32 ndarray
        Probability that a pixel is another plant's.
    """
    at = np.flatnonzero(owner > 0)
    plant = owner.ravel().take(at)
    pixels = np.bincount(plant, minlength=cells + 1)[1:]
    doubted = np.bincount(plant, doubt.ravel().take(at), minlength=cells + 1)[1:]
    shares = np.full(cells, np.nan)
    np.divide(doubted, pixels, out=shares, where=pixels > 0)
    return shares
