"""Colours of one plant and of each of its leaves."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.synthetic.damage import LeafDamage
from canopy.synthetic.habit import Blade, Rgb, Surface
from canopy.synthetic.leaf_outline import Outline
from canopy.synthetic.leaf_paint import LeafLook
from canopy.synthetic.stress import Stress

_COTYLEDONS_FADE_DAYS = (22.0, 45.0)  # cotyledons of a plant that age begin, and end, to yellow


@dataclass(frozen=True)
class Complexion:
    """What all leaves of one plant share.

    Attributes
    ----------
    tint : factors on red, green, blue.
    pigment : share of red pigment 0..1.
    between, from_tip : how its leaves yellow (see `LeafDamage`).
    yellow, brown, straw : colours of damage.
    variegated : share of white on its leaves, nearly always 0.
    shine : factor on gloss.
    """

    tint: tuple[float, float, float]
    pigment: float
    between: float
    from_tip: float
    yellow: Rgb
    brown: Rgb
    straw: Rgb
    variegated: float
    shine: float


def complexion(surface: Surface, rng: np.random.Generator) -> Complexion:
    """Draw one plant's colours."""
    shade, warm, blue, shine = rng.normal(0.0, 1.0, 4)
    share, between, from_tip, pale, char, rare, white = rng.uniform(0.0, 1.0, 7)
    low, high = surface.pigment_share
    tint = np.exp(surface.spread * np.array([shade + 0.7 * warm, shade, shade + 0.9 * blue]))
    return Complexion(
        tint=(float(tint[0]), float(tint[1]), float(tint[2])),
        pigment=low + (high - low) * share,
        between=between if between > 0.5 else 0.0,
        from_tip=from_tip,
        yellow=blend((0.27, 0.27, 0.03), (0.45, 0.43, 0.17), pale),
        brown=blend((0.20, 0.11, 0.04), (0.035, 0.024, 0.014), char),
        straw=blend((0.36, 0.26, 0.12), (0.07, 0.045, 0.022), char * char),
        variegated=0.15 + 0.3 * white if rare > 0.995 else 0.0,
        shine=math.exp(0.25 * shine),
    )


def leaf_look(
    surface: Surface,
    blade: Blade,
    tint: Complexion,
    outline: Outline,
    *,
    part: str,
    ripe: float,
    stress: Stress,
    rng: np.random.Generator,
) -> LeafLook:
    """Colours of one leaf that has reached a share `ripe` of its size."""
    shade, glow, veins, fold = rng.normal(0.0, 1.0, 4)
    offset = rng.uniform(0.0, 1.0, 2)
    age = min(max(1.25 * ripe - 0.25, 0.0), 1.0) if part == "leaf" else 0.35
    pale = 0.45 * stress.stretch + 0.15 * stress.wilting
    own = np.array(tint.tint) * math.exp(0.06 * shade)
    green = _times(blend(blend(surface.young, surface.mature, age), surface.young, pale), own)
    weight = surface.cotyledon_pigment if part == "cotyledon" else 1.0
    share = tint.pigment * weight
    return LeafLook(
        blade=green,
        glow=blend(green, _times(surface.young, own * 1.25), 0.75),
        vein=blend(green, surface.vein, 0.8),
        stalk=blend(blend(surface.stalk, green, 0.5), surface.stalk, ripe if part == "leaf" else 0.1),
        pigment=_times(surface.pigment, own),
        under=blend(green, (0.20, 0.26, 0.15), 0.5),
        petiole=blade.petiole,
        midrib_mm=max(0.5 * blade.petiole_width * outline.length_mm * surface.midrib, 0.05),
        midrib_fade=0.4 if part == "leaf" else 2.2,
        offset=(float(offset[0]), float(offset[1])),
        base_glow=max(0.30 + 0.12 * glow, 0.0),
        blotch=0.12,
        pigment_base=1.4 * share - 0.75 if share > 0.0 else -1.0,
        pigment_margin=surface.pigment_margin,
        pigment_tip=surface.pigment_tip,
        pigment_between=surface.pigment_between,
        pigment_blotch=0.18 if share > 0.0 else 0.0,
        stalk_pigment=min(surface.stalk_pigment * tint.pigment * 1.5, 0.9),
        veins=max(surface.veins + 0.5 * veins, 2.0) if part == "leaf" else 0.0,
        vein_lean=1.0 / math.tan(math.radians(surface.vein_deg)),
        vein_contrast=surface.vein_contrast if part == "leaf" else 0.3 * surface.vein_contrast,
        network=surface.network,
        network_scale=surface.network_scale,
        blister=surface.blister if part == "leaf" else 0.02,
        fold=max(0.01 + 0.05 * fold + 0.25 * stress.wilting, 0.0) if part == "leaf" else 0.0,
        variegation=tint.variegated,
        gloss=min(surface.gloss * tint.shine * (1.0 - 0.5 * stress.wilting), 1.0),
        bloom=surface.bloom,
    )


def stem_look(surface: Surface, tint: Complexion, outline: Outline) -> LeafLook:
    """Colours of a stem seen from above: stalk all over."""
    stalk = _times(surface.stalk, np.array(tint.tint))
    return LeafLook(
        blade=stalk, glow=stalk, vein=stalk, stalk=stalk, pigment=surface.pigment, under=stalk, petiole=0.02,
        midrib_mm=1.2 * outline.widest_mm, midrib_fade=0.0, offset=(0.3, 0.6), veins=0.0, blister=0.0,
        stalk_pigment=min(surface.stalk_pigment * (0.3 + tint.pigment), 0.9), gloss=0.3,
    )  # fmt: skip


def leaf_damage(
    stress: Stress, tint: Complexion, *, oldness: float, age_days: float, part: str, jitter: NDArray[np.float64]
) -> LeafDamage:
    """What the plant's stress does to one leaf; `oldness` is its age over that of the oldest leaf."""
    chlorosis = stress.chlorosis * (0.25 + 1.0 * oldness + 0.2 * jitter[0])
    if part == "cotyledon":
        begin, end = _COTYLEDONS_FADE_DAYS
        chlorosis = max(chlorosis, (age_days - begin) / (end - begin) + 0.25 * jitter[0])
    burn = stress.tip_burn * (0.9 - 0.7 * oldness + 0.25 * jitter[1]) if part == "leaf" else 0.0
    spots = stress.spots * (0.5 + 0.4 * oldness + 0.3 * jitter[2])
    return LeafDamage(
        chlorosis=_unit(chlorosis) if chlorosis > 0.05 else 0.0,
        between=tint.between,
        from_tip=tint.from_tip,
        tip_burn=_unit(burn) if burn > 0.02 else 0.0,
        spots=_unit(spots) if spots > 0.05 else 0.0,
        dead=stress.dead,
        yellow=tint.yellow,
        brown=blend(tint.brown, (0.12, 0.07, 0.03), min(abs(0.4 * jitter[1]), 1.0)),
        straw=blend(tint.straw, (0.26, 0.19, 0.09), min(abs(0.4 * jitter[2]), 1.0)),
    )


def blend(first: Rgb, second: Rgb, share: float) -> Rgb:
    """The colour at `share` of the way from first to second."""
    return (
        first[0] + share * (second[0] - first[0]),
        first[1] + share * (second[1] - first[1]),
        first[2] + share * (second[2] - first[2]),
    )


def _times(colour: Rgb, factors: NDArray[np.float64]) -> Rgb:
    red, green, blue = np.clip(np.array(colour) * factors, 0.003, 0.8)
    return (float(red), float(green), float(blue))


def _unit(value: float) -> float:
    return float(min(max(value, 0.0), 1.0))
