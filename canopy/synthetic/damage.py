"""What ails a leaf: yellowing, brown margins, spots and death, as masks over its points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float32]
Rgb = tuple[float, float, float]

_NEVER_ALL = 0.94  # some of the leaf's own colour shows through
_DEEPEST_BURN = 0.33  # brown margin over half-width in the worst case

HEALTHY, YELLOW, BROWN, DEAD = 0, 1, 2, 3


@dataclass(frozen=True)
class LeafDamage:
    """How badly one leaf is hit, each 0..1, and in which colours (linear reflectance).

    Attributes
    ----------
    chlorosis : 0 green … 1 yellow all over; `between` 1 leaves the veins green, `from_tip` 1 starts at tip and margin.
    tip_burn : width of the brown margin, at 1 a third of the half-width of the leaf.
    spots : share of the leaf in brown spots.
    dead : the whole leaf is dry.
    """

    chlorosis: float = 0.0
    between: float = 0.0
    from_tip: float = 0.5
    tip_burn: float = 0.0
    spots: float = 0.0
    dead: bool = False
    yellow: Rgb = (0.36, 0.33, 0.06)
    brown: Rgb = (0.13, 0.075, 0.03)
    straw: Rgb = (0.30, 0.21, 0.10)

    @property
    def any(self) -> bool:
        """Whether there is anything to paint."""
        return self.dead or max(self.chlorosis, self.tip_burn, self.spots) > 0.0


@dataclass(frozen=True, eq=False)
class LeafPoints:
    """Where the painted points lie on the blade; 1-D float32 arrays of one length.

    Attributes
    ----------
    blade : 0 where the blade begins, 1 at the tip, negative on the stalk.
    margin : 0 on the midrib, 1 on the margin.
    rim_mm : distance to the margin.
    broad, middling, fine : noises, mean 0, standard deviation 1.
    vein : 0..1, 1 on a vein.
    """

    blade: FloatArray
    margin: FloatArray
    rim_mm: FloatArray
    broad: FloatArray
    middling: FloatArray
    fine: FloatArray
    vein: FloatArray


def damage_masks(damage: LeafDamage, points: LeafPoints, *, half_width_mm: float) -> tuple[FloatArray, FloatArray]:
    """How yellow and how brown each point is, 0..1; a point counts as damaged from 0.5."""
    return _yellow(damage, points), _brown(damage, points, half_width_mm)


def damage_codes(damage: LeafDamage, yellow: FloatArray, brown: FloatArray) -> NDArray[np.uint8]:
    """0 healthy, 1 yellow, 2 brown, 3 dead."""
    if damage.dead:
        return np.full(yellow.shape, DEAD, np.uint8)
    codes = (yellow >= 0.5).astype(np.uint8)
    codes[brown >= 0.5] = BROWN
    return codes


def _yellow(damage: LeafDamage, points: LeafPoints) -> FloatArray:
    if damage.chlorosis <= 0.0:
        return np.zeros_like(points.blade)
    edge = 0.6 * points.blade + 0.4 * points.margin * points.margin - 0.5
    level = (damage.from_tip * 1.1) * edge + 0.11 * points.broad + 0.07 * points.middling
    level -= (damage.between * 0.8) * points.vein
    level += 2.2 * damage.chlorosis - 0.6
    level += 0.8 * (level - 0.5)  # patches with a clear border
    return np.asarray(np.clip(level, 0.0, _NEVER_ALL), np.float32)


def _brown(damage: LeafDamage, points: LeafPoints, half_width_mm: float) -> FloatArray:
    brown = np.zeros_like(points.blade)
    if damage.tip_burn > 0.0:
        deepest = _DEEPEST_BURN * damage.tip_burn * half_width_mm
        reach = deepest * np.clip(0.1 + 0.7 * points.blade + 0.45 * points.broad + 0.15 * points.middling, -0.2, 1.6)
        soft = 0.3 * deepest + 0.05
        brown = np.clip((reach - points.rim_mm) * (1.0 / soft) + 0.2 + 0.15 * points.fine, 0.0, 1.0)
        brown[points.blade < 0.0] = 0.0
    if damage.spots > 0.0:
        # a standard normal lies above z for a share of about exp(-0.75 z² - 0.9 z)/2: near enough to set a level
        level = 2.4 - 2.2 * damage.spots
        brown = np.maximum(brown, np.clip((0.8 * points.middling + 0.6 * points.broad - level) * 3.0, 0.0, 1.0))
    return brown
