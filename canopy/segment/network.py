"""Probability of canopy from the small network, run by OpenCV."""

from __future__ import annotations

from functools import lru_cache
from importlib import resources
from threading import Lock

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.segment.feed import Feed

FloatImage = NDArray[np.float32]

WEIGHTS = "canopy_net.onnx"
# The encoder halves four times and its nearest-neighbour upsampling must meet the same sizes again; one halving more
# leaves room for the half scale of `two_scale`.
_MULTIPLE = 32
_LOCK = Lock()  # one net per process, and OpenCV's nets hold the picture between setInput and forward


def canopy_probability(feed: Feed, *, two_scale: bool = False) -> FloatImage:
    """Probability that a pixel shows living canopy.

    Parameters
    ----------
    feed : Feed
        The tray at the network's scale and brightness.
    two_scale : bool
        Average the logits of this scale and half of it: steadier where leaves are larger than any the network saw.

    Returns
    -------
    (m, n) float32 ndarray
        0..1; 0 where the photo does not reach.
    """
    logits = _logits(feed.normalised)
    if two_scale:
        rows, cols = logits.shape
        half = cv2.resize(feed.normalised, (max(1, cols // 2), max(1, rows // 2)), interpolation=cv2.INTER_AREA)
        coarse = _logits(np.asarray(half, dtype=np.uint8))
        logits += np.asarray(cv2.resize(coarse, (cols, rows), interpolation=cv2.INTER_LINEAR), dtype=np.float32)
        logits *= np.float32(0.5)
    probability = _sigmoid(logits)
    probability[~feed.valid] = 0
    return probability


def _logits(rgb: NDArray[np.uint8]) -> FloatImage:
    """(m, n, 3) uint8 → (m, n) logits; padded to whole multiples by repeating the border, and cropped again."""
    rows, cols = rgb.shape[:2]
    padded = cv2.copyMakeBorder(rgb, 0, -rows % _MULTIPLE, 0, -cols % _MULTIPLE, cv2.BORDER_REPLICATE)
    blob = _folded(np.asarray(padded, dtype=np.uint8))
    with _LOCK:
        net = _net()
        net.setInput(blob)
        out = _shuffled(np.asarray(net.forward(), dtype=np.float32))
    return np.ascontiguousarray(out[:rows, :cols])


def _folded(rgb: NDArray[np.uint8]) -> FloatImage:
    """(m, n, 3) uint8 → (1, 12, m/2, n/2) of 0..1: channel 6·i + 3·j + c holds colour c of pixel (i, j) of each block.

    The same sums as in the network's first convolution of stride 2, in a shape that uses a processor's lanes: the
    whole network takes a tenth less time.
    """
    rows, cols = rgb.shape[0] // 2, rgb.shape[1] // 2
    blocks = rgb.reshape(rows, 2, cols, 2, 3).transpose(1, 3, 4, 0, 2).reshape(1, 12, rows, cols)
    return np.multiply(blocks, np.float32(1 / 255), dtype=np.float32)


def _shuffled(out: FloatImage) -> FloatImage:
    """(1, 4, m/2, n/2) → (m, n): channel 2·i + j holds pixel (i, j) of each 2 × 2 block; (1, 1, m, n) passes through.

    Done here and not in the file because OpenCV before 5 cannot load the operation with a size that varies.
    """
    if out.shape[1] == 1:
        return np.asarray(out[0, 0])
    _, _, rows, cols = out.shape
    shuffled = np.empty((rows, 2, cols, 2), dtype=np.float32)
    for i in (0, 1):
        shuffled[:, i] = cv2.merge([out[0, 2 * i], out[0, 2 * i + 1]])  # a third of the time of one transposed copy
    return shuffled.reshape(2 * rows, 2 * cols)


def _sigmoid(logits: FloatImage) -> FloatImage:
    """1 / (1 + exp(−x)), without overflow."""
    np.clip(logits, -30, 30, out=logits)
    odds = np.asarray(cv2.exp(-logits), dtype=np.float32)
    odds += 1
    return np.divide(np.float32(1), odds, out=odds)


@lru_cache(maxsize=1)
def _net() -> cv2.dnn.Net:
    """The net of this process, read once from the package's own file."""
    weights = resources.files("canopy.segment").joinpath(WEIGHTS).read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, dtype=np.uint8))
