"""Which colours leaf and ground have around each place, and how a pixel's colour tells its share of both."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.segment.feed import Feed
from canopy.settings.segment import SegmentSettings

FloatImage = NDArray[np.float32]
Planes = tuple[FloatImage, ...]
"""R, G and B apart: sums over channels are then sums of whole pictures, several times faster."""

COARSER = 2  # mean colours change slowly: they are worked out at half the network's grid, at a quarter of the cost
_STRIP_ROWS = 64  # rows worked on at a time, so that they stay in the cache; whole rows of the coarser grid
_NONE = cv2.BORDER_CONSTANT  # nothing counts beyond the picture
_MOST_SLACK = 0.4  # leaves a fifth of the range for partly covered pixels, so that the stretch stays finite


@dataclass(frozen=True)
class Mixture:
    """Coefficients of cover = slope·light + offset, and how far to rely on it.

    Attributes
    ----------
    line : (k, l, 4) float32 ndarray
        On the coarser grid: slope for the light of R, G and B, and the offset, for a fourth channel of 1 (see
        `mixing_light`). Clipped to 0..1, the cover is 1 in leaf and 0 on ground as varied as those nearby.
    trust : (m, n) float32 ndarray
        On the network's grid: share, 0..1, that colours decide instead of the network; 0 away from the outline.
    """

    line: FloatImage
    trust: FloatImage


def mix_colours(probability: FloatImage, *, feed: Feed, settings: SegmentSettings) -> Mixture:
    """Local mixing coefficients around the outline of `probability` at one half; both on the network's grid."""
    canopy = (probability > 0.5).view(np.uint8)
    depths = _depth(canopy), _depth(1 - canopy)
    leaf, ground = _mean_colours(feed, depths, settings=settings)
    slope, offset = leaf_share(leaf, ground, shading_weight=settings.shading_weight)
    slack = _slack(slope, offset, feed=feed, depths=depths, settings=settings)
    # Colours of pure leaf and pure ground stray from 1 and 0 by the slack: stretched, not just clipped, they come out
    # whole and bare, and no straight edge moves.
    stretch = np.float32(1) / (1 - 2 * slack)
    trust = _like(probability, _contrast_trust(leaf, ground, settings))
    band_px = np.float32(settings.edge_band_mm / feed.mm_per_px)
    trust *= np.clip(band_px + 1 - np.maximum(*depths), 0, 1)
    return Mixture(_merged(*[part * stretch for part in slope], (offset - slack) * stretch), trust)


def leaf_share(leaf: Planes, ground: Planes, *, shading_weight: float) -> tuple[Planes, FloatImage]:
    """Slope and offset of the share of leaf a in light c = a·leaf + b·ground, b being free.

    Were b = 1 − a, a shadow on pale ground beside a leaf would pass for leaf. So a and b are the least-squares solution
    of the three colour equations and of a + b = 1, the latter weighted by `shading_weight` times the mean square of
    both colours: leaf and ground of one hue are still told apart by brightness.

    Returns
    -------
    slope : three (k, l) float32 ndarrays
    offset : (k, l) float32 ndarray
    """
    leaf2, ground2, both = _dot(leaf, leaf), _dot(ground, ground), _dot(leaf, ground)
    tie = (leaf2 + ground2) * np.float32(shading_weight / 2)
    leaf2, ground2, both = leaf2 + tie, ground2 + tie, both + tie
    scale = np.reciprocal(np.maximum(leaf2 * ground2 - both * both, np.float32(1e-12)))
    of_leaf, of_ground = ground2 * scale, both * scale
    slope: Planes = tuple(of_leaf * one - of_ground * other for one, other in zip(leaf, ground, strict=True))
    offset: FloatImage = (ground2 - both) * tie * scale
    return slope, offset


def mixing_light(rgb: NDArray[np.uint8], exponent: float) -> FloatImage:
    """(m, n, 3) sRGB code values → (m, n, 4): (code / 255)^exponent, and a fourth channel of 1.

    Lens and sensor mix light, not code values: half leaf and half black ground is 0.73 of the leaf's code value. sRGB
    is close to a power of 2.2 (IEC 61966-2-1); shade, a factor, stays a factor under any power.
    """
    return np.asarray(cv2.LUT(cv2.cvtColor(rgb, cv2.COLOR_RGB2RGBA), _decoded(exponent)), dtype=np.float32)


@lru_cache(maxsize=8)
def _decoded(exponent: float) -> FloatImage:
    """(1, 256) light of each code value; 255, as in the fourth channel, gives 1."""
    light = (np.arange(256) / 255) ** exponent
    return light.astype(np.float32).reshape(1, 256)


def _depth(mask: NDArray[np.uint8]) -> FloatImage:
    """Distance of each pixel in the mask to the nearest outside, px; 1 at its rim, 0 outside."""
    return np.asarray(cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_3), dtype=np.float32)


def _dot(one: Planes, other: Planes) -> FloatImage:
    """Sum over channels of products."""
    first, *rest = (a * b for a, b in zip(one, other, strict=True))
    for product in rest:
        first += product
    return first


def _merged(*planes: cv2.typing.MatLike) -> FloatImage:
    """Planes as one picture of several channels."""
    return np.asarray(cv2.merge(planes), dtype=np.float32)


def _mean_colours(
    feed: Feed, depths: tuple[FloatImage, FloatImage], *, settings: SegmentSettings
) -> tuple[Planes, Planes]:
    """Mean light of leaf and of ground around each place, on the coarser grid; each depth's pixels by themselves.

    The deepest pixels of the window are the purest and count most: for large leaves those past the blurred rim, for
    the smallest seedlings the middle one or two. Where the window holds none the result is 0 and the band does not
    reach.
    """
    shape = (*_coarse_shape(feed), 4)
    sums = np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32)
    for top in range(0, shape[0], _STRIP_ROWS):
        coarse = slice(top, min(top + _STRIP_ROWS, shape[0]))
        fine = slice(COARSER * coarse.start, COARSER * coarse.stop), slice(0, COARSER * shape[1])
        light = mixing_light(feed.rgb[fine], settings.light_exponent)
        light[..., 3] = feed.valid[fine]  # the fourth channel sums the weights
        for depth, into in zip(depths, sums, strict=True):
            weight = _purity(depth[fine], settings)
            weighted = cv2.multiply(light, _merged(*[weight] * 4))
            into[coarse] = cv2.resize(weighted, into[coarse].shape[1::-1], interpolation=cv2.INTER_AREA)
    side = _window_side(feed.mm_per_px, settings)
    leaf, ground = (_ratios_to_last(cv2.boxFilter(part, -1, (side, side), borderType=_NONE)) for part in sums)
    return leaf, ground


def _purity(depth: FloatImage, settings: SegmentSettings) -> FloatImage:
    """Say of each pixel in a mean colour, growing with its depth; 0 outside."""
    steps = np.minimum(depth, np.float32(settings.edge_depth_px)) / np.float32(settings.edge_depth_step_px)
    weight = np.asarray(cv2.exp(steps), dtype=np.float32)
    weight *= depth > 0
    return weight


def _ratios_to_last(sums: cv2.typing.MatLike) -> Planes:
    """Three channels over the fourth; 0 where that is 0."""
    *colours, weight = cv2.split(sums)
    scale = np.reciprocal(np.maximum(np.asarray(weight, dtype=np.float32), np.float32(1e-6)))
    return tuple(np.asarray(colour, dtype=np.float32) * scale for colour in colours)


def _coarse_shape(feed: Feed) -> tuple[int, int]:
    """Rows and columns of the coarser grid; an odd last row or column of the network's grid is left out."""
    rows, cols = feed.valid.shape
    return max(1, rows // COARSER), max(1, cols // COARSER)


def _window_side(mm_per_px: float, settings: SegmentSettings) -> int:
    """Side of the averaging window in pixels of the coarser grid."""
    return 2 * max(1, round(settings.edge_window_mm / (COARSER * mm_per_px))) + 1


def _slack(
    slope: Planes,
    offset: FloatImage,
    *,
    feed: Feed,
    depths: tuple[FloatImage, FloatImage],
    settings: SegmentSettings,
) -> FloatImage:
    """How far the mixture strays from 1 in pure leaf and from 0 in pure ground nearby, the larger of both.

    Texture and noise there, clipped on one side only, would push the area.
    """
    rows, cols = (COARSER * n for n in offset.shape)  # every other pixel of every other row of these
    colours = cv2.resize(feed.rgb[:rows, :cols], offset.shape[::-1], interpolation=cv2.INTER_NEAREST)
    *light, _ = cv2.split(mixing_light(np.asarray(colours, dtype=np.uint8), settings.light_exponent))
    share = _dot(slope, tuple(np.asarray(part, dtype=np.float32) for part in light))
    share += offset
    side = _window_side(feed.mm_per_px, settings)
    worst = np.zeros_like(share)
    for depth, pure in zip(depths, (np.float32(1), np.float32(0)), strict=True):
        some = depth[:rows:COARSER, :cols:COARSER]
        weight = np.clip(some - np.float32(1), 0, 1)  # depth 1 is the mixed pixel of the outline itself
        squares = np.square(share - pure) * weight
        total, count = (cv2.boxFilter(part, -1, (side, side), normalize=False) for part in (squares, weight))
        np.maximum(worst, total / np.maximum(count, np.float32(1)), out=worst)
    slack: FloatImage = np.minimum(np.sqrt(worst) * np.float32(settings.edge_slack), np.float32(_MOST_SLACK))
    return slack


def _contrast_trust(leaf: Planes, ground: Planes, settings: SegmentSettings) -> FloatImage:
    """0 where leaf and ground have one colour, 1 where they are told apart well."""
    apart = tuple(one - other for one, other in zip(leaf, ground, strict=True))
    along = tuple(one + other for one, other in zip(leaf, ground, strict=True))
    contrast = np.sqrt(_dot(apart, apart) / np.maximum(_dot(along, along), np.float32(1e-9)))
    span = max(settings.contrast_full - settings.contrast_none, 1e-6)
    trust: FloatImage = np.clip((contrast - np.float32(settings.contrast_none)) / np.float32(span), 0, 1)
    return trust


def _like(fine: FloatImage, coarse: FloatImage) -> FloatImage:
    """The coarser grid's values on the grid of `fine`."""
    enlarged = cv2.resize(coarse, (fine.shape[1], fine.shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.asarray(enlarged, dtype=np.float32)
