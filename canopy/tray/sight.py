"""Where trays are seen in a picture: soft maps from a small network, run by OpenCV at thumbnail size."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from threading import Lock

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
FloatImage = NDArray[np.float32]

WEIGHTS = "sight_net.onnx"
# Part of the contract with the trained weights: their training pictures had this size and mean brightness.
LONG_SIDE_PX = 192
_MULTIPLE, _BLOCK, _MAPS = 16, 4, 3
_TARGET_MEAN, _GAINS = 0.42, (0.6, 4.0)
_LOCK = Lock()  # one net per process, and OpenCV's nets hold the picture between setInput and forward


@dataclass(frozen=True)
class Sight:
    """Probabilities, 0..1, on a thumbnail of the photo.

    Attributes
    ----------
    any_tray, this_tray, line : (m, n) float32 ndarray
        Inside any tray's outline; inside the outline of the tray nearest the picture's centre; on an outline.
    photo_px : float
        Photo pixels per thumbnail pixel.
    """

    any_tray: FloatImage
    this_tray: FloatImage
    line: FloatImage
    photo_px: float

    def to_photo(self, points: FloatArray) -> FloatArray:
        """Thumbnail pixels → photo pixels, pixel centres at whole numbers in both; (n, 2) → (n, 2)."""
        return np.asarray((points + 0.5) * self.photo_px - 0.5)

    def to_thumbnail(self, points: FloatArray) -> FloatArray:
        """Photo pixels → thumbnail pixels; (n, 2) → (n, 2)."""
        return np.asarray((points + 0.5) / self.photo_px - 0.5)


def see_trays(rgb: NDArray[np.uint8]) -> Sight:
    """Look for trays in an upright sRGB picture, (M, N, 3) uint8."""
    height, width = rgb.shape[:2]
    factor = LONG_SIDE_PX / max(height, width)
    size = (max(_MULTIPLE, round(width * factor)), max(_MULTIPLE, round(height * factor)))
    small = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    maps = _maps(small)
    return Sight(maps[0], maps[1], maps[2], 1 / factor)


def _maps(rgb: NDArray[np.uint8]) -> FloatImage:
    """(m, n, 3) → (3, m, n) probabilities; padded to whole multiples by repeating the border, and cropped again."""
    rows, cols = rgb.shape[:2]
    gain = float(np.clip(_TARGET_MEAN * 255 / max(float(rgb.mean()), 1e-3), *_GAINS))
    bright = cv2.convertScaleAbs(rgb, alpha=gain)
    padded = cv2.copyMakeBorder(bright, 0, -rows % _MULTIPLE, 0, -cols % _MULTIPLE, cv2.BORDER_REPLICATE)
    blob = cv2.dnn.blobFromImage(padded, scalefactor=1 / 255)
    with _LOCK:
        net = _net()
        net.setInput(blob)
        out = np.array(net.forward(), dtype=np.float32)
    _, _, m, n = out.shape
    # Channel map·16 + 4·dy + dx holds pixel (dy, dx) of each 4 × 4 block.
    full = out.reshape(_MAPS, _BLOCK, _BLOCK, m, n).transpose(0, 3, 1, 4, 2).reshape(_MAPS, _BLOCK * m, _BLOCK * n)
    logits = np.clip(full[:, :rows, :cols], -30, 30)
    return np.asarray(1 / (1 + np.exp(-logits)), np.float32)


@lru_cache(maxsize=1)
def _net() -> cv2.dnn.Net:
    """The net of this process, read once from the package's own file."""
    weights = resources.files("canopy.tray").joinpath(WEIGHTS).read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, dtype=np.uint8))
