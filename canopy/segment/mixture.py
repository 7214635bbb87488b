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

_COARSER = 2  # mean colours change slowly: they are worked out at half the network's grid, at a quarter of the cost
_MOST_SLACK = 0.4  # leaves a fifth of the range for partly covered pixels, so that the stretch stays finite


@dataclass(frozen=True)
class Mixture:
    """Coefficients of cover = slope·light + offset, and how far to rely on it; four channels each, which is fastest.

    Attributes
    ----------
    line : (k, l, 4) float32 ndarray
        On the coarser grid: slope for the light of R, G and B, and the offset, for a fourth channel of 1 (see
        `mixing_light`).
    say : (m, n, 4) float32 ndarray
        On the network's grid: its probability; trust, 0..1, the share that colours decide instead; slack, how far
        pure leaf and pure ground stray from 1 and 0; nothing.
    """

    line: FloatImage
    say: FloatImage


def mix_colours(probability: FloatImage, *, feed: Feed, settings: SegmentSettings) -> Mixture:
    """Local mixing coefficients around the outline of `probability` at one half; both on the network's grid."""
    canopy = (probability > 0.5).view(np.uint8)
    depth_in, depth_out = _depth(canopy), _depth(1 - canopy)
    light = mixing_light(feed.rgb, settings.light_exponent)
    light[..., 3] = feed.valid  # the fourth channel sums the weights
    leaf = _mean_colour(light, depth_in, settings=settings, mm_per_px=feed.mm_per_px)
    ground = _mean_colour(light, depth_out, settings=settings, mm_per_px=feed.mm_per_px)
    slope, offset = leaf_share(leaf, ground, shading_weight=settings.shading_weight)
    slack = _slack(slope, offset, light, depths=(depth_in, depth_out), mm_per_px=feed.mm_per_px, settings=settings)
    trust = _like(probability, _contrast_trust(leaf, ground, settings))
    band_px = np.float32(settings.edge_band_mm / feed.mm_per_px)
    trust *= np.clip(band_px + 1 - np.maximum(depth_in, depth_out), 0, 1)
    return Mixture(
        line=_merged(*cv2.split(slope), offset),
        say=_merged(probability, trust, _like(probability, slack), np.zeros_like(trust)),
    )


def leaf_share(leaf: FloatImage, ground: FloatImage, *, shading_weight: float) -> tuple[FloatImage, FloatImage]:
    """Slope and offset of the share of leaf a in light c = a·leaf + b·ground, b being free.

    Were b = 1 − a, a shadow on pale ground beside a leaf would pass for leaf. So a and b are the least-squares solution
    of the three colour equations and of a + b = 1, the latter weighted by `shading_weight` times the mean square of
    both colours: leaf and ground of one hue are still told apart by brightness.

    Returns
    -------
    slope : (k, l, 3) float32 ndarray
    offset : (k, l) float32 ndarray
    """
    leaf2, ground2, both = _sum(leaf * leaf), _sum(ground * ground), _sum(leaf * ground)
    tie = (leaf2 + ground2) * np.float32(shading_weight / 2)
    leaf2, ground2, both = leaf2 + tie, ground2 + tie, both + tie
    scale = np.float32(1) / np.maximum(leaf2 * ground2 - both * both, np.float32(1e-12))
    slope = (ground2 * scale)[..., None] * leaf - (both * scale)[..., None] * ground
    offset = (ground2 - both) * tie * scale
    return np.asarray(slope, dtype=np.float32), np.asarray(offset, dtype=np.float32)


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


def _sum(channels: FloatImage) -> FloatImage:
    """Sum over three channels."""
    return np.asarray(cv2.transform(channels, np.ones((1, 3), np.float32)), dtype=np.float32)


def _merged(*planes: cv2.typing.MatLike) -> FloatImage:
    """Planes as one picture of several channels."""
    return np.asarray(cv2.merge(planes), dtype=np.float32)


def _mean_colour(light: FloatImage, depth: FloatImage, *, settings: SegmentSettings, mm_per_px: float) -> FloatImage:
    """Mean light, on the coarser grid, of the pixels with depth > 0 around each place, the deepest counting most.

    The deepest pixels of the window are the purest: for large leaves those past the blurred rim, for the smallest
    seedlings the middle one or two. Where the window holds none the result is 0 and the band does not reach.
    """
    steps = np.minimum(depth, np.float32(settings.edge_depth_px)) / np.float32(settings.edge_depth_step_px)
    weight = np.asarray(cv2.exp(steps), dtype=np.float32)
    weight *= (depth > 0).astype(np.float32)
    weighted = _merged(*[weight] * 4)
    weighted *= light
    sums = _window_sums(weighted, settings=settings, mm_per_px=mm_per_px)
    return np.asarray(sums[..., :3] / np.maximum(sums[..., 3:], np.float32(1e-6)), dtype=np.float32)


def _window_sums(image: FloatImage, *, settings: SegmentSettings, mm_per_px: float) -> FloatImage:
    """Box sums, up to one common factor, on the coarser grid."""
    rows, cols = image.shape[:2]
    coarse = cv2.resize(image, (-(-cols // _COARSER), -(-rows // _COARSER)), interpolation=cv2.INTER_AREA)
    side = 2 * max(1, round(settings.edge_window_mm / (_COARSER * mm_per_px))) + 1
    sums = cv2.boxFilter(coarse, cv2.CV_32F, (side, side), borderType=cv2.BORDER_CONSTANT)
    return np.asarray(sums, dtype=np.float32)


def _slack(
    slope: FloatImage,
    offset: FloatImage,
    light: FloatImage,
    *,
    depths: tuple[FloatImage, FloatImage],
    mm_per_px: float,
    settings: SegmentSettings,
) -> FloatImage:
    """How far the mixture strays from 1 in pure leaf and from 0 in pure ground nearby, the larger of both.

    Texture and noise there, clipped on one side only, would push the area.
    """
    rows, cols = slope.shape[:2]
    coarse = cv2.resize(light, (cols, rows), interpolation=cv2.INTER_NEAREST)
    share = _sum(slope * coarse[..., :3]) + offset
    worst = np.zeros_like(share)
    for depth, pure in zip(depths, (np.float32(1), np.float32(0)), strict=True):
        coarse_depth = cv2.resize(depth, (cols, rows), interpolation=cv2.INTER_NEAREST)
        weight = np.clip(coarse_depth - np.float32(1), 0, 1)  # depth 1 is the mixed pixel of the outline itself
        squares = np.square(share - pure) * weight
        side = 2 * max(1, round(settings.edge_window_mm / (_COARSER * mm_per_px))) + 1
        sums = cv2.boxFilter(_merged(squares, weight), cv2.CV_32F, (side, side), normalize=False)
        worst = np.maximum(worst, sums[..., 0] / np.maximum(sums[..., 1], np.float32(1)))
    slack: FloatImage = np.minimum(np.sqrt(worst) * np.float32(settings.edge_slack), np.float32(_MOST_SLACK))
    return slack


def _contrast_trust(leaf: FloatImage, ground: FloatImage, settings: SegmentSettings) -> FloatImage:
    """0 where leaf and ground have one colour, 1 where they are told apart well."""
    squared = _sum(np.square(leaf - ground)) / np.maximum(_sum(np.square(leaf + ground)), np.float32(1e-9))
    contrast = np.sqrt(squared)
    span = max(settings.contrast_full - settings.contrast_none, 1e-6)
    trust: FloatImage = np.clip((contrast - np.float32(settings.contrast_none)) / np.float32(span), 0, 1)
    return trust


def _like(fine: FloatImage, coarse: FloatImage) -> FloatImage:
    """The coarser grid's values on the grid of `fine`."""
    enlarged = cv2.resize(coarse, (fine.shape[1], fine.shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.asarray(enlarged, dtype=np.float32)
