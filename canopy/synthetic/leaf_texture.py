"""Fine pattern shared by all leaves: tiles of vein network, blisters and blotches, read in a leaf's own coordinates."""

from __future__ import annotations

import math
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

FloatArray = NDArray[np.float32]

TILE_PX = 256
_CELLS = 22  # islands between veinlets along one side of the tile
_ROW = 1024  # points are handed to cv2.remap in rows of this length: it takes no side longer than 32767


def veinlets(x: FloatArray, y: FloatArray, *, texel: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Vein network and island relief at tile coordinates (1 = one tile).

    Parameters
    ----------
    x, y : (N,) float32 ndarray
    texel : float
        Width of a picture element in tile units; finer detail is averaged away.

    Returns
    -------
    net : (N,) array, 0..1, 1 on a veinlet
    slope_x, slope_y : (N,) arrays, slope of domed islands, about −1..1
    """
    net, slope_x, slope_y = _read(_veinlet_mips(), x, y, texel)
    return net, slope_x, slope_y


def blotches(x: FloatArray, y: FloatArray, *, texel: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Three independent noises at tile coordinates: broad, middling and fine; mean 0, standard deviation 1."""
    broad, middling, fine = _read(_blotch_mips(), x, y, texel)
    return broad, middling, fine


def _read(mips: tuple[FloatArray, ...], x: FloatArray, y: FloatArray, texel: float) -> list[FloatArray]:
    level = min(max(round(math.log2(max(texel * TILE_PX, 1e-6))), 0), len(mips) - 1)
    tile = mips[level]
    side = tile.shape[0]
    rows = max(-(-x.size // _ROW), 1)
    width = min(_ROW, max(x.size, 1))
    at = np.zeros((2, rows * width), np.float32)
    np.multiply(x, side, out=at[0, : x.size])
    np.multiply(y, side, out=at[1, : x.size])
    at -= np.floor(at * (1.0 / side)) * side
    grid = at.reshape(2, rows, width)
    wrapped = cv2.copyMakeBorder(tile, 0, 2, 0, 2, cv2.BORDER_WRAP)
    found = cv2.remap(wrapped, grid[0], grid[1], cv2.INTER_LINEAR)
    return [np.ascontiguousarray(found[..., k].reshape(-1)[: x.size]) for k in range(3)]


@lru_cache(maxsize=1)
def _veinlet_mips() -> tuple[FloatArray, ...]:
    rng = np.random.default_rng([22, 256])
    grid = np.stack(np.meshgrid(np.arange(_CELLS), np.arange(_CELLS)), axis=-1).reshape(-1, 2)
    seeds = (grid + rng.uniform(0.05, 0.95, grid.shape)) / _CELLS
    around = np.concatenate([seeds + np.array([i, j]) for i in (-1, 0, 1) for j in (-1, 0, 1)])
    pixel = (np.stack(np.meshgrid(np.arange(TILE_PX), np.arange(TILE_PX)), axis=-1) + 0.5) / TILE_PX
    near = cKDTree(around).query(pixel.reshape(-1, 2), k=2)[0].reshape(TILE_PX, TILE_PX, 2)
    border = (near[..., 1] - near[..., 0]) * _CELLS  # 0 on the border of two islands, about 1 in the middle of one
    dome = cv2.GaussianBlur(np.tile(np.sqrt(np.clip(border, 0, 1)).astype(np.float32), (3, 3)), (0, 0), 1.6)
    slope_y, slope_x = np.gradient(dome)
    middle = slice(TILE_PX, 2 * TILE_PX)
    net = np.exp(-((border / 0.16) ** 2))
    return _mips(np.stack([net, slope_x[middle, middle] * 6.0, slope_y[middle, middle] * 6.0], axis=-1))


@lru_cache(maxsize=1)
def _blotch_mips() -> tuple[FloatArray, ...]:
    rng = np.random.default_rng([23, 256])
    frequency = np.hypot(np.fft.fftfreq(TILE_PX)[:, None], np.fft.rfftfreq(TILE_PX)[None, :]) * TILE_PX
    layers = []
    for centre in (3.0, 9.0, 36.0):  # waves per tile
        spectrum = np.fft.rfft2(rng.standard_normal((TILE_PX, TILE_PX)))
        band = np.exp(-(np.log((frequency + 1e-3) / centre) ** 2) / 0.5)
        layer = np.fft.irfft2(spectrum * band, s=(TILE_PX, TILE_PX))
        layers.append((layer - layer.mean()) / layer.std())
    return _mips(np.stack(layers, axis=-1))


def _mips(tile: NDArray[np.floating]) -> tuple[FloatArray, ...]:
    """The tile at full, half, quarter … size, down to 8 pixels."""
    levels = [tile.astype(np.float32)]
    while levels[-1].shape[0] > 8:
        side = levels[-1].shape[0] // 2
        levels.append(np.asarray(cv2.resize(levels[-1], (side, side), interpolation=cv2.INTER_AREA), np.float32))
    return tuple(levels)
