"""Where canopy is, and whose it is, from one small network run by OpenCV."""

from __future__ import annotations

from functools import lru_cache
from importlib import resources
from threading import Lock

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.segment.feed import Feed

FloatImage = NDArray[np.float32]

NETWORK = "canopy_net.onnx"
# Part of the contract with the trained weights: logits of canopy among the outputs, pixels to one unit of a vote, and
# the spread and cut of the bells that mark the cells.
_LOGITS = 4
VOTE_PX = 16.0
_MARK_PX, _MARK_REACH_PX = 3.0, 9
# The encoder halves five times and its nearest-neighbour upsampling must meet the same sizes again.
_MULTIPLE = 32
_LOCK = Lock()  # one net per process, and OpenCV's nets hold the picture between setInput and forward


def ask_network(feed: Feed, *, centres_px: NDArray[np.float64]) -> tuple[FloatImage, FloatImage]:
    """Where canopy is, and where the plant seen at each place is rooted.

    Parameters
    ----------
    feed : Feed
        The tray at the network's scale and brightness.
    centres_px : (cells, 2) ndarray
        Middles of the cells, (column, row) in feed pixels.

    Returns
    -------
    probability : (m, n) float32 ndarray
        0..1, on the feed's grid, that a pixel shows living canopy; 0 where the photo does not reach.
    ways : (⌈m/2⌉, ⌈n/2⌉, 2) float32 ndarray
        On a grid of half the size: how far right and down the middle of the plant's cell lies, in feed pixels. Says
        nothing where there is no canopy.
    """
    rows, cols = feed.normalised.shape[:2]
    marks = cell_marks(centres_px, feed.normalised.shape)
    out = _forward(_padded(cv2.merge([feed.normalised, marks])))
    probability = _sigmoid(np.ascontiguousarray(_shuffled(out[:, :_LOGITS])[:rows, :cols]))
    probability[~feed.valid] = 0
    ways = cv2.merge([out[0, _LOGITS], out[0, _LOGITS + 1]])[: -(-rows // 2), : -(-cols // 2)]
    return probability, np.asarray(ways, dtype=np.float32) * np.float32(VOTE_PX)


def _padded(picture: cv2.typing.MatLike) -> NDArray[np.uint8]:
    """Whole multiples of 32, by repeating the border; what is said of the padding is cropped again."""
    rows, cols = picture.shape[:2]
    padded = cv2.copyMakeBorder(picture, 0, -rows % _MULTIPLE, 0, -cols % _MULTIPLE, cv2.BORDER_REPLICATE)
    return np.asarray(padded, dtype=np.uint8)


def cell_marks(centres_px: NDArray[np.float64], shape: tuple[int, ...]) -> NDArray[np.uint8]:
    """The network's fourth channel: a bell, 255 at its top, around the middle of each cell inside the picture."""
    rows, cols = shape[:2]
    reach, side = _MARK_REACH_PX, 2 * _MARK_REACH_PX + 1
    slope = np.exp(-0.5 * (np.arange(-reach, reach + 1) / _MARK_PX) ** 2)
    bell = np.rint(255 * np.outer(slope, slope)).astype(np.uint8)
    framed = np.zeros((rows + 2 * reach, cols + 2 * reach), np.uint8)
    for col, row in np.rint(centres_px).astype(int):
        if 0 <= col < cols and 0 <= row < rows:
            around = framed[row : row + side, col : col + side]
            around[:] = cv2.add(around, bell)  # stops at 255
    return framed[reach:-reach, reach:-reach]


def _forward(picture: NDArray[np.uint8]) -> FloatImage:
    """(m, n, k) uint8, whole multiples of 32 → (1, outputs, m/2, n/2)."""
    blob = _folded(picture)
    with _LOCK:
        net = _net()
        net.setInput(blob)
        return np.asarray(net.forward(), dtype=np.float32)


def _folded(picture: NDArray[np.uint8]) -> FloatImage:
    """(m, n, k) uint8 → (1, 4·k, m/2, n/2) of 0..1: channel k·(2·i + j) + c holds channel c of pixel (i, j) of a block.

    The same sums as in the network's first convolution of stride 2, in a shape that uses a processor's lanes: the
    whole network takes a tenth less time.
    """
    rows, cols, channels = picture.shape[0] // 2, picture.shape[1] // 2, picture.shape[2]
    blocks = picture.reshape(rows, 2, cols, 2, channels).transpose(1, 3, 4, 0, 2).reshape(1, 4 * channels, rows, cols)
    return np.multiply(blocks, np.float32(1 / 255), dtype=np.float32)


def _shuffled(out: FloatImage) -> FloatImage:
    """(1, 4, m/2, n/2) → (m, n): channel 2·i + j holds pixel (i, j) of each 2 × 2 block.

    Done here and not in the file because OpenCV before 5 cannot load the operation with a size that varies.
    """
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
    weights = resources.files("canopy.segment").joinpath(NETWORK).read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, dtype=np.uint8))
