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
        On the coarser grid: slope for the light of R, G and B (see `mixing_light`), and the offset. Clipped to 0..1,
        the cover is 1 in leaf and 0 on ground as varied as those nearby.
    trust : (m, n) float32 ndarray
        On the network's grid: share, 0..1, that colours decide instead of the network; 0 away from the outline.
    """

    line: FloatImage
    trust: FloatImage


def mix_colours(probability: FloatImage, *, feed: Feed, settings: SegmentSettings) -> Mixture:
    """Local mixing coefficients around the outline of `probability` at one half; both on the network's grid."""
    canopy = (probability > 0.5).view(np.uint8)
    depth = _depth(canopy)
    depth += _depth(1 - canopy)  # a pixel lies in one of both only
    leaf_sums, ground_sums = _colour_sums(feed, canopy, depth, settings=settings)
    shape = leaf_sums[0].shape
    line, strayed, told_apart = _planes(4, shape), _planes(4, shape), np.empty(shape, np.float32)
    for strip in _strips(shape[0]):
        leaf, ground = (_ratios_to_last([plane[strip] for plane in sums]) for sums in (leaf_sums, ground_sums))
        slope, offset = leaf_share(leaf, ground, shading_weight=settings.shading_weight)
        told_apart[strip] = _contrast_trust(leaf, ground, settings)
        here = (*slope, offset)
        astray = _straying(here, strip, feed=feed, canopy=canopy, depth=depth, settings=settings)
        for into, part in zip((*line, *strayed), (*here, *astray), strict=True):
            into[strip] = part
    _stretch(line, _slack(strayed, feed.mm_per_px, settings))
    trust = _like(probability, told_apart)
    band_px = np.float32(settings.edge_band_mm / feed.mm_per_px)
    depth -= band_px + 1
    np.negative(depth, out=depth)
    trust *= np.clip(depth, 0, 1, out=depth)
    return Mixture(_merged(*line), trust)


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


def mixing_light(codes: NDArray[np.uint8], exponent: float) -> FloatImage:
    """(m, n) sRGB code values of one channel → (code / 255)^exponent.

    Lens and sensor mix light, not code values: half leaf and half black ground is 0.73 of the leaf's code value. sRGB
    is close to a power of 2.2 (IEC 61966-2-1); shade, a factor, stays a factor under any power.
    """
    return np.asarray(cv2.LUT(codes, _decoded(exponent)), dtype=np.float32)


def _light_of(rgb: cv2.typing.MatLike, exponent: float) -> Planes:
    """The same for the three channels of a picture, each by itself."""
    return tuple(mixing_light(np.asarray(plane, dtype=np.uint8), exponent) for plane in cv2.split(rgb))


@lru_cache(maxsize=8)
def _decoded(exponent: float) -> FloatImage:
    """(1, 256) light of each code value."""
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


def _colour_sums(
    feed: Feed, canopy: NDArray[np.uint8], depth: FloatImage, *, settings: SegmentSettings
) -> tuple[Planes, Planes]:
    """Weighted sums of the light of leaf and of ground around each place and, last, of the weights: four planes each.

    On the coarser grid. The deepest pixels of the window are the purest and count most: for large leaves those past
    the blurred rim, for the smallest seedlings the middle one or two. Where the window holds none the sums are 0 and
    the band does not reach.
    """
    shape = _coarse_shape(feed)
    sums = _planes(4, shape), _planes(4, shape)
    all_valid = bool(feed.valid.all())
    for strip in _strips(shape[0]):
        fine = _fine(strip, shape[1])
        weight = _purity(depth[fine], settings)
        of_leaf = weight * canopy[fine]
        weights = of_leaf, weight - of_leaf
        light = _light_of(feed.rgb[fine], settings.light_exponent)
        for one, into in zip(weights, sums, strict=True):
            *colours, last = (plane[strip] for plane in into)
            for plane, part in zip(light, colours, strict=True):
                cv2.resize(cv2.multiply(plane, one), part.shape[::-1], part, interpolation=cv2.INTER_AREA)
            seen = one if all_valid else one * feed.valid[fine]
            cv2.resize(seen, last.shape[::-1], last, interpolation=cv2.INTER_AREA)
    far = _far_leaves(sums[0], feed.mm_per_px, settings)
    side = _window_side(settings.edge_window_mm, feed.mm_per_px)
    leaf, ground = (_window_sums(planes, side, border=_NONE) for planes in sums)
    for plane, part in zip(leaf, far, strict=True):
        plane += part
    return leaf, ground


def _far_leaves(sums: Planes, mm_per_px: float, settings: SegmentSettings) -> Planes:
    """The mean light of leaves further around, to be added to the sums nearby with the weight of `leaf_prior_px` pure
    pixels.

    Leaves of a few pixels have no pure middle: taken for pure, their own blurred light would make them too wide.
    """
    side = (_window_side(settings.leaf_window_mm, mm_per_px),) * 2
    *colours, weight = (cv2.boxFilter(plane, -1, side, normalize=False, borderType=_NONE) for plane in sums)
    depth = settings.edge_depth_px / settings.edge_depth_step_px
    pure = np.float32(settings.leaf_prior_px / COARSER**2 * np.exp(depth))
    some = np.asarray(weight, dtype=np.float32)
    scale = pure / np.maximum(some, np.float32(1e-6))
    return (*(np.asarray(colour * scale, dtype=np.float32) for colour in colours), pure * (some > 0))


def _window_sums(planes: Planes, side: int, *, border: int) -> Planes:
    """Sums over a square window; by rows and columns, which is quicker than OpenCV's box of running sums.

    What `planes` hold is lost: the memory of each takes the sums of the next.
    """
    ones = np.ones(side, np.float32)
    sums, spare = [], np.empty_like(planes[0])
    for plane in planes:
        cv2.sepFilter2D(plane, -1, ones, ones, spare, borderType=border)
        sums.append(spare)
        spare = plane
    return tuple(sums)


def _purity(depth: FloatImage, settings: SegmentSettings) -> FloatImage:
    """Say of each pixel in a mean colour, growing with its depth."""
    steps = np.minimum(depth, np.float32(settings.edge_depth_px))
    steps /= np.float32(settings.edge_depth_step_px)
    return np.asarray(cv2.exp(steps), dtype=np.float32)


def _ratios_to_last(sums: list[FloatImage]) -> Planes:
    """Three planes over the fourth; 0 where that is 0."""
    *colours, weight = sums
    scale = np.reciprocal(np.maximum(weight, np.float32(1e-6)))
    return tuple(colour * scale for colour in colours)


def _planes(count: int, shape: tuple[int, ...]) -> Planes:
    """Pictures of one channel, yet to be filled."""
    return tuple(np.empty(shape, dtype=np.float32) for _ in range(count))


def _strips(rows: int) -> list[slice]:
    """Rows of the coarser grid to work on at a time."""
    return [slice(top, min(top + _STRIP_ROWS, rows)) for top in range(0, rows, _STRIP_ROWS)]


def _fine(strip: slice, cols: int) -> tuple[slice, slice]:
    """The same rows, and so many columns, on the network's grid."""
    return slice(COARSER * strip.start, COARSER * strip.stop), slice(0, COARSER * cols)


def _coarse_shape(feed: Feed) -> tuple[int, int]:
    """Rows and columns of the coarser grid; an odd last row or column of the network's grid is left out."""
    rows, cols = feed.valid.shape
    return max(1, rows // COARSER), max(1, cols // COARSER)


def _window_side(half_mm: float, mm_per_px: float) -> int:
    """Side of an averaging window in pixels of the coarser grid."""
    return 2 * max(1, round(half_mm / (COARSER * mm_per_px))) + 1


def _straying(
    line: Planes,
    strip: slice,
    *,
    feed: Feed,
    canopy: NDArray[np.uint8],
    depth: FloatImage,
    settings: SegmentSettings,
) -> Planes:
    """In rows of the coarser grid: by how much the mixture strays from 1 in pure leaf and from 0 in pure ground,
    squared and weighted, and the weight; first of leaf, then of ground. Every other pixel of every other row tells.
    """
    *slope, offset = line
    fine = _fine(strip, offset.shape[1])
    some = [cv2.resize(part[fine], offset.shape[::-1], interpolation=cv2.INTER_NEAREST) for part in (feed.rgb, depth)]
    inside = canopy[fine][::COARSER, ::COARSER].astype(np.float32)
    share = _dot(tuple(slope), _light_of(some[0], settings.light_exponent))
    share += offset
    pure = np.clip(some[1] - np.float32(1), 0, 1)  # depth 1 is the mixed pixel of the outline itself
    share -= inside
    share *= share
    of_leaf = pure * inside
    of_ground = pure - of_leaf
    return share * of_leaf, of_leaf, share * of_ground, of_ground


def _slack(strayed: Planes, mm_per_px: float, settings: SegmentSettings) -> FloatImage:
    """How far the mixture strays from 1 in pure leaf and from 0 in pure ground nearby, the larger of both.

    Texture and noise there, clipped on one side only, would push the area.
    """
    side = _window_side(settings.edge_window_mm, mm_per_px)
    leaf, of_leaf, ground, of_ground = _window_sums(strayed, side, border=cv2.BORDER_DEFAULT)
    leaf /= np.maximum(of_leaf, np.float32(1), out=of_leaf)
    ground /= np.maximum(of_ground, np.float32(1), out=of_ground)
    worst = np.sqrt(np.maximum(leaf, ground, out=leaf), out=leaf)
    worst *= np.float32(settings.edge_slack)
    return np.minimum(worst, np.float32(_MOST_SLACK), out=worst)


def _stretch(line: Planes, slack: FloatImage) -> None:
    """Colours of pure leaf and pure ground stray from 1 and 0 by the slack: stretched, not just clipped, they come out
    whole and bare, and no straight edge moves. In place.
    """
    line[-1][:] -= slack
    stretch = np.float32(1) / (1 - 2 * slack)
    for plane in line:
        plane *= stretch


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
