"""Sub-pixel edges at measuring scale from the picture's own colours near the network's outline.

In a band along the outline every pixel is taken as a mixture of the light of leaf and ground around it; cover is the
least-squares share of leaf (see `mixture`). For each place this is a linear function of the pixel's light, so its
coefficients are worked out on small grids and interpolated to the full one, as the coefficients of a guided filter are
(He & Sun 2015, "Fast guided filter").
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.segment.feed import Feed
from canopy.segment.mixture import Mixture, mix_colours, mixing_light
from canopy.settings.segment import SegmentSettings

FloatImage = NDArray[np.float32]

Tile = tuple[slice, slice]

_TILE = 256  # pixels of the full grid: the working set stays near the cache and memory stays small


def refine_edges(
    probability: FloatImage, *, feed: Feed, rgb: NDArray[np.uint8], settings: SegmentSettings
) -> tuple[FloatImage, FloatImage]:
    """Cover of each pixel of the full grid, and how far to doubt it.

    Parameters
    ----------
    probability : (m, n) float32 ndarray
        Of canopy, tidied, on the network's grid.
    feed : Feed
        The picture on the same grid.
    rgb : (M, N, 3) uint8 ndarray
        The rectified picture.

    Returns
    -------
    cover : (M, N) float32 ndarray
        0..1. Exactly 0 or 1 further than `edge_zone_px` from the refined outline.
    doubt : (M, N) float32 ndarray
        Standard uncertainty, 0..0.5: √(p(1−p)) of an undecided network where colours do not settle it, together with
        4·cover·(1−cover)·`edge_doubt` for where exactly the edge lies.
    """
    mixture = mix_colours(probability, feed=feed, settings=settings)
    rows, cols = rgb.shape[:2]
    cover = np.empty((rows, cols), dtype=np.float32)
    doubt = np.empty((rows, cols), dtype=np.float32)
    for top in range(0, rows, _TILE):
        for left in range(0, cols, _TILE):
            tile = (slice(top, min(top + _TILE, rows)), slice(left, min(left + _TILE, cols)))
            cover[tile], doubt[tile] = _refined_tile(mixture, tile, rgb=rgb, settings=settings)
    return cover, np.minimum(doubt, np.float32(0.5), out=doubt)


def _refined_tile(
    mixture: Mixture, tile: Tile, *, rgb: NDArray[np.uint8], settings: SegmentSettings
) -> tuple[FloatImage, FloatImage]:
    """Cover and doubt of one tile of the full grid, worked out with a halo so that tiles meet without a seam."""
    plain = _plain_tile(mixture, tile, shape=rgb.shape[:2])
    if plain is not None:
        return plain
    halo = 2 * settings.edge_zone_px + 2
    wide = _grown(tile, halo, rgb.shape[:2])
    cover, network_doubt = _mixed(mixture, wide, rgb=rgb, exponent=settings.light_exponent)
    cover = _decided_away_from_edges(cover, settings.edge_zone_px)
    inner = tuple(slice(t.start - w.start, t.stop - w.start) for t, w in zip(tile, wide, strict=True))
    cover, network_doubt = cover[inner], network_doubt[inner]
    # Not cv2.magnitude: its last bit depends on where in memory the arrays lie, and the same photo must give the same.
    edge_doubt = cover * (1 - cover) * np.float32(4 * settings.edge_doubt)
    doubt: FloatImage = np.sqrt(edge_doubt * edge_doubt + network_doubt * network_doubt)
    return cover, doubt


def _plain_tile(mixture: Mixture, tile: Tile, *, shape: tuple[int, ...]) -> tuple[FloatImage, FloatImage] | None:
    """Cover and doubt of a tile far from any outline, which a third of the work settles; None for others."""
    rows, cols = (
        slice(max(0, t.start * m // n - 4), t.stop * m // n + 5)
        for t, m, n in zip(tile, mixture.say.shape[:2], shape, strict=True)
    )
    canopy = mixture.say[rows, cols, 0] > 0.5
    whole = bool(canopy.all())
    if (canopy.any() and not whole) or mixture.say[rows, cols, 1].any():
        return None
    probability = cv2.split(_enlarged(mixture.say, shape, tile))[0]
    doubt: FloatImage = np.sqrt(np.abs(probability * (1 - probability)))
    return np.full(doubt.shape, whole, dtype=np.float32), doubt


def _grown(tile: Tile, halo: int, shape: tuple[int, ...]) -> Tile:
    """The tile with `halo` more pixels on every side, as far as the grid goes."""
    down, right = (slice(max(0, t.start - halo), min(n, t.stop + halo)) for t, n in zip(tile, shape, strict=True))
    return down, right


def _mixed(mixture: Mixture, tile: Tile, *, rgb: NDArray[np.uint8], exponent: float) -> tuple[FloatImage, FloatImage]:
    """Share of leaf in each pixel of the tile, and the network's part in its doubt."""
    line = _enlarged(mixture.line, rgb.shape[:2], tile)
    probability, trust, slack, _ = cv2.split(_enlarged(mixture.say, rgb.shape[:2], tile))
    line *= mixing_light(rgb[tile], exponent)  # its fourth channel, 1, takes the offset
    red, green, blue, share = cv2.split(line)
    for part in (red, green, blue):  # faster than any one call that sums over channels
        share += part
    # Colours of pure leaf and pure ground stray from 1 and 0 by the slack: stretched, not just clipped, they come out
    # whole and bare, and no straight edge moves.
    share -= slack
    slack *= -2
    slack += 1
    share /= slack
    np.clip(share, 0, 1, out=share)
    share -= probability
    share *= trust
    share += probability
    np.subtract(1, trust, out=trust)
    trust *= np.sqrt(np.abs(probability * (1 - probability)))
    return share, trust


def _decided_away_from_edges(share: FloatImage, zone_px: int) -> FloatImage:
    """Whole or bare but for the pixels within `zone_px` of the outline, so that noise cannot eat into a leaf."""
    mask = (cv2.blur(share, (3, 3)) > 0.5).view(np.uint8)
    kernel = np.ones((2 * zone_px + 1, 2 * zone_px + 1), np.uint8)
    inner = cv2.erode(mask, kernel)
    zone = cv2.dilate(mask, kernel) != inner
    np.copyto(share, inner, where=~zone)
    return share


def _enlarged(small: FloatImage, shape: tuple[int, ...], tile: Tile) -> FloatImage:
    """One tile of `small` enlarged bilinearly to `shape`; the same as resizing all, and cutting out."""
    down, right = small.shape[0] / shape[0], small.shape[1] / shape[1]
    rows, cols = tile
    to_small = np.array([[right, 0, (cols.start + 0.5) * right - 0.5], [0, down, (rows.start + 0.5) * down - 0.5]])
    size = (cols.stop - cols.start, rows.stop - rows.start)
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    enlarged = cv2.warpAffine(small, to_small, size, flags=how, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(enlarged, dtype=np.float32)
