"""The plain second opinion: each colour by itself, plant or not, without looking at its surroundings."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import cv2
import numpy as np
from numpy.typing import NDArray

FloatImage = NDArray[np.float32]

TABLE = "colour_opinion.npz"
_HALF = 127  # of 255: greater numbers are probabilities above one half
BINS = 32  # per channel: 8 code values a bin, finer than the noise of a phone's picture


@dataclass(frozen=True)
class Opinion:
    """A colour classifier written out as a table, so that it needs no pickle and costs one look-up per pixel.

    Attributes
    ----------
    table : (32, 32, 32) uint8 ndarray
        255 · probability of plant of the sRGB colours ⌊R/8⌋, ⌊G/8⌋, ⌊B/8⌋ of a picture with normalised exposure.
    """

    table: NDArray[np.uint8]

    def probability(self, rgb: NDArray[np.uint8]) -> FloatImage:
        """Probability of plant of each pixel; (m, n, 3) uint8 → (m, n) float32."""
        share: FloatImage = self.table.ravel().take(_bins(rgb)).astype(np.float32)
        share *= np.float32(1 / 255)
        return share

    def plant_coloured(self, rgb: NDArray[np.uint8]) -> NDArray[np.bool_]:
        """Where that probability is above one half; (m, n, 3) uint8 → (m, n)."""
        return (self.table.ravel() > _HALF).take(_bins(rgb))


def _bins(rgb: NDArray[np.uint8]) -> NDArray[np.uint16]:
    """Place of each colour in the raveled table: OpenCV's packing of 5 bits a channel, red highest, is just that."""
    packed = np.ascontiguousarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR555), dtype=np.uint8)
    return packed.view(np.uint16)[..., 0]


@lru_cache(maxsize=1)
def shipped_opinion() -> Opinion:
    """The table that comes with the package."""
    with resources.files("canopy.segment").joinpath(TABLE).open("rb") as file, np.load(file) as stored:
        return Opinion(stored["table"])


def fit_opinion(rgb: NDArray[np.uint8], is_plant: NDArray[np.bool_], *, seed: int = 0) -> Opinion:
    """Learn a table from labelled colours.

    Gradient-boosted trees (scikit-learn) on simple colour features, weighted so that both classes count alike, then
    evaluated once at the middle of every bin.

    Parameters
    ----------
    rgb : (n, 3) uint8 ndarray
        sRGB colours of pictures with normalised exposure (see `canopy.segment.feed`).
    is_plant : (n,) bool ndarray
    seed : int
        Seed of the trees' own sampling.

    Raises
    ------
    ValueError
        If only one of both kinds is present.
    """
    from sklearn.ensemble import HistGradientBoostingClassifier  # slow to import, and only needed for learning

    if is_plant.all() or not is_plant.any():
        raise ValueError("is_plant: colours of both plant and ground are needed; label some of the missing kind")
    model = HistGradientBoostingClassifier(max_iter=150, max_leaf_nodes=15, class_weight="balanced", random_state=seed)
    model.fit(colour_features(rgb), is_plant)
    middles = (np.indices((BINS, BINS, BINS)).reshape(3, -1).T * 8 + 4).astype(np.uint8)
    probability = model.predict_proba(colour_features(middles))[:, 1]
    return Opinion(np.rint(255 * probability).astype(np.uint8).reshape(BINS, BINS, BINS))


def colour_features(rgb: NDArray[np.uint8]) -> FloatImage:
    """(n, 3) sRGB → (n, 7): excess green and excess red on r, g, b shares, CIELAB L*, a*, b*, chroma, and hue's share.

    Excess green 2g − r − b: Woebbecke et al. 1995; excess red 1.4r − g: Meyer & Neto 2008.
    """
    from skimage.color import rgb2lab  # needed for learning only

    values = rgb.astype(np.float32) / 255
    share = values / np.maximum(values.sum(axis=1, keepdims=True), np.float32(1e-3))
    r, g, b = share.T
    lab = rgb2lab(values)
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    return np.column_stack([2 * g - r - b, 1.4 * r - g, lab, chroma, np.arctan2(lab[:, 2], lab[:, 1])])


def dice(one: NDArray[np.bool_], other: NDArray[np.bool_]) -> float:
    """Dice 1945: twice the common area over the sum of both areas; 1 when both are empty."""
    total = int(np.count_nonzero(one)) + int(np.count_nonzero(other))
    return 2 * int(np.count_nonzero(one & other)) / total if total else 1.0
