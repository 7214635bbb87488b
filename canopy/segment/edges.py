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
from canopy.segment.mixture import COARSER, Mixture, mix_colours, mixing_light
from canopy.settings.segment import SegmentSettings

FloatImage = NDArray[np.float32]
Floats = NDArray[np.float32]
Indices = NDArray[np.intp]

# Pixels of the band are handled as a list, so that whole leaves and bare ground cost nothing: a row of this many at a
# time for OpenCV, and so many rows at a time that the working set stays in the cache.
_LIST_ROW = 512
_LIST_ROWS = 32
_MOST_DOUBT = 0.5  # √(p(1−p)) of p = 1/2


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
    share, trust = (_enlarged(small, rgb.shape) for small in (probability, mixture.trust))
    _mix_in_band(share, trust, mixture, rgb=rgb, settings=settings)
    undecided = 1 - probability  # from here on in place: fresh memory costs as much as the work on it
    undecided *= probability
    np.sqrt(np.abs(undecided, out=undecided), out=undecided)
    undecided *= 1 - mixture.trust
    # A hair below the most, so that rounding on the way to the full grid does not pass it.
    np.minimum(undecided, np.float32(_MOST_DOUBT - 1e-6), out=undecided)
    return _decided_away_from_edges(share, undecided, scratch=trust, settings=settings)


def _mix_in_band(
    share: FloatImage, trust: FloatImage, mixture: Mixture, *, rgb: NDArray[np.uint8], settings: SegmentSettings
) -> None:
    """Replace the network's share by that of the colours, as far as they are trusted, in place.

    Colours cannot make a leaf of what the network takes for ground: beside a leaf on dark medium a pale grain lies on
    the leaf's side of the mixing line, and beyond.
    """
    codes = rgb.reshape(-1, 3)
    band = np.flatnonzero(trust > 0)  # of truth values: five times faster than of numbers
    step = _LIST_ROW * _LIST_ROWS
    for start in range(0, band.size, step):
        at = band[start : start + step]
        change = _share_of_list(mixture, at, codes, shape=share.shape, exponent=settings.light_exponent)
        network = share.ravel().take(at)
        np.minimum(change, np.float32(settings.edge_raise) * network, out=change)
        change -= network
        change *= trust.ravel().take(at)
        change += network
        share.ravel()[at] = change


def _share_of_list(
    mixture: Mixture, at: Indices, codes: NDArray[np.uint8], *, shape: tuple[int, ...], exponent: float
) -> Floats:
    """Share of leaf, 0..1, by colour alone in the pixels with flat indices `at`; `codes` as a list."""
    padded = (np.pad(at, (0, -at.size % _LIST_ROW), mode="edge") if at.size % _LIST_ROW else at).reshape(-1, _LIST_ROW)
    rows, cols = shape
    down, right = mixture.trust.shape[0] / (COARSER * rows), mixture.trust.shape[1] / (COARSER * cols)
    flat = padded.astype(np.uint32)  # 32 bits: several times faster to divide
    row = flat // np.uint32(cols)
    col = flat - row * np.uint32(cols)
    x = col.astype(np.float32) * np.float32(right) + np.float32(right / 2 - 0.5)
    y = row.astype(np.float32) * np.float32(down) + np.float32(down / 2 - 0.5)
    line = cv2.remap(mixture.line, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    *slope, share = (np.asarray(part, dtype=np.float32) for part in cv2.split(line))
    for part, plane in zip(slope, cv2.split(codes.take(padded, axis=0)), strict=True):
        part *= mixing_light(np.asarray(plane, dtype=np.uint8), exponent)
        share += part
    return np.clip(share, 0, 1, out=share).ravel()[: at.size]


def _decided_away_from_edges(
    share: FloatImage, undecided: FloatImage, *, scratch: FloatImage, settings: SegmentSettings
) -> tuple[FloatImage, FloatImage]:
    """Cover: whole or bare but for the pixels within `edge_zone_px` of the outline, so that noise cannot eat into a
    leaf; and its doubt, that of the network and, near the outline, of the edge's place.

    What `share` and `scratch` hold is lost.
    """
    mask = (np.asarray(cv2.blur(share, (3, 3), scratch), dtype=np.float32) > np.float32(0.5)).view(np.uint8)
    side = 2 * settings.edge_zone_px + 1
    kernel = np.ones((side, side), np.uint8)
    inner = np.asarray(cv2.erode(mask, kernel), dtype=np.uint8)
    zone = np.flatnonzero(cv2.dilate(mask, kernel) != inner)
    cover = scratch
    cover[:] = inner
    near = share.ravel().take(zone)
    cover.ravel()[zone] = near
    doubt = share
    cv2.resize(undecided, doubt.shape[::-1], doubt, interpolation=cv2.INTER_LINEAR)
    edge_doubt = near * (1 - near) * np.float32(4 * settings.edge_doubt)
    # Not cv2.magnitude: its last bit depends on where in memory the arrays lie, and the same photo must give the same.
    both = np.sqrt(edge_doubt * edge_doubt + np.square(doubt.ravel().take(zone)))
    doubt.ravel()[zone] = np.minimum(both, np.float32(_MOST_DOUBT))
    return cover, doubt


def _enlarged(small: FloatImage, shape: tuple[int, ...]) -> FloatImage:
    """`small` enlarged bilinearly to the rows and columns of `shape`."""
    return np.asarray(cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR), dtype=np.float32)
