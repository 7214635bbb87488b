"""From the proportions of a blade to the two half-width profiles of one leaf."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from canopy.synthetic.habit import Blade
from canopy.synthetic.leaf_outline import STEPS

Profile = NDArray[np.float64]

_WAVES = np.arange(2, 13)  # waves per blade of the irregular margin


def half_widths(
    blade: Blade, *, length_mm: float, width: float, lobing: float, rng: np.random.Generator
) -> tuple[Profile, Profile]:
    """Half-widths in mm at STEPS + 1 stations from base to tip, right and left.

    Parameters
    ----------
    blade : Blade
    length_mm : float
        Base of the stalk to the tip.
    width : float
        Factor on the width (a folded leaf is narrower).
    lobing : float
        Factor on lobe depth: first leaves are less divided than later ones.
    rng : Generator
        Draws the irregularities; always the same number of draws.
    """
    fixed = _fixed(blade)
    plain = fixed.plain * (0.5 * blade.aspect * (1.0 - blade.petiole) * length_mm * width)
    stalk = fixed.stalk * length_mm
    sides = []
    for _ in range(2):
        lean, lobe_shift, tooth_shift = rng.normal(0.0, 1.0, 3)
        depths = rng.uniform(0.75, 1.0, 16)
        sines, cosines = rng.normal(0.0, 1.0, (2, _WAVES.size))
        side = plain * (1.0 + 0.035 * lean)
        side *= 1.0 - lobing * _lobe_cut(blade, fixed.on_blade + 0.012 * lobe_shift, depths)
        side *= 1.0 - _tooth_cut(blade, fixed.on_blade + 0.01 * tooth_shift)
        side *= np.clip(1.0 + blade.ruffle * (fixed.sines @ sines + fixed.cosines @ cosines), 0.4, 1.6)
        sides.append(np.maximum(side, stalk))
    return sides[0], sides[1]


@dataclass(frozen=True, eq=False)
class _Fixed:
    """What all leaves of one blade record share: stations on the blade, half-widths, and waves for the margin."""

    on_blade: Profile
    plain: Profile
    stalk: Profile
    sines: Profile
    cosines: Profile


@lru_cache(maxsize=256)
def _fixed(blade: Blade) -> _Fixed:
    along = np.linspace(0.0, 1.0, STEPS + 1)
    on_blade = np.clip((along - blade.petiole) / (1.0 - blade.petiole), 0.0, 1.0)
    angle = 2.0 * np.pi * on_blade[:, None] * _WAVES
    fading = 0.4 / np.sqrt(_WAVES)  # finer waves are lower
    return _Fixed(
        on_blade,
        _plain(blade, on_blade),
        _stalk(blade, along, on_blade),
        np.sin(angle) * fading,
        np.cos(angle) * fading,
    )


def _plain(blade: Blade, at: Profile) -> Profile:
    """Half-width over its greatest value of the undivided blade."""
    rising = np.sin(0.5 * np.pi * np.clip(at / blade.widest, 0.0, 1.0)) ** blade.base_power
    falling = np.clip(np.cos(0.5 * np.pi * np.clip((at - blade.widest) / (1.0 - blade.widest), 0.0, 1.0)), 0.0, 1.0)
    return np.where(at < blade.widest, rising, falling**blade.tip_power)


def _stalk(blade: Blade, along: Profile, on_blade: Profile) -> Profile:
    """Half-width over length of stalk and midrib: a little wider at its foot, thinning out under the blade."""
    foot = 1.0 + 0.3 * np.clip(1.0 - along / 0.12, 0.0, 1.0) ** 2
    closing = np.sqrt(np.clip(along / 0.015, 0.0, 1.0))
    return 0.5 * blade.petiole_width * foot * closing * np.clip(1.0 - on_blade, 0.0, 1.0)


def _lobe_cut(blade: Blade, at: Profile, depths: Profile) -> Profile:
    """Depth of the bays between lobes, 0..1; the share `terminal` at the tip stays whole."""
    if blade.lobes <= 0.0:
        return np.zeros_like(at)
    phase = at * blade.lobes / (1.0 - blade.terminal)
    last = np.rint(blade.lobes)
    bay = np.clip(np.rint(phase), 0, last)
    nearness = np.clip(1.0 - np.abs(phase - bay) / 0.5, 0.0, 1.0)
    smooth = nearness * nearness * (3.0 - 2.0 * nearness)
    cut: Profile = blade.lobe_depth * smooth**0.8 * depths[bay.astype(int) % depths.size]
    return cut


def _tooth_cut(blade: Blade, at: Profile) -> Profile:
    """Saw teeth that point to the tip: the margin widens slowly and drops back quickly."""
    if blade.teeth <= 0.0:
        return np.zeros_like(at)
    part = np.mod(at * blade.teeth, 1.0)
    return blade.tooth_depth * np.where(part < 0.8, 1.0 - part / 0.8, (part - 0.8) / 0.2)
