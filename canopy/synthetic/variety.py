"""Varieties of one crop type: a whole tray's own shade, proportions and pace."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from canopy.synthetic.habit import Cultivar, Rgb

_STREAM = 4  # plants of the same seed draw from streams 1 to 3


def draw_variety(cultivar: Cultivar, *, seed: int) -> Cultivar:
    """The same crop type as another seed house might sell it: shade, proportions and pace moved a little.

    Meant for all plants of a tray; plant-to-plant differences come from `grow_plant`.
    """
    rng = np.random.default_rng([seed, _STREAM])
    shade, warm, blue = rng.normal(0.0, (0.28, 0.16, 0.22))
    size, pace, width, stance, veins, gloss, depth = np.exp(rng.normal(0.0, (0.14, 0.08, 0.10, 0.12, 0.3, 0.45, 0.2)))
    surface, habit, blade = cultivar.surface, cultivar.habit, cultivar.blade

    def shift(colour: Rgb) -> Rgb:
        red, green, dark = np.array(colour) * np.exp([shade + warm, shade, shade + blue])
        return (float(min(red, 0.75)), float(min(green, 0.8)), float(min(dark, 0.7)))

    return replace(
        cultivar,
        surface=replace(
            surface,
            young=shift(surface.young),
            mature=shift(surface.mature),
            vein_contrast=min(surface.vein_contrast * float(veins), 1.0),
            gloss=min(surface.gloss * float(gloss), 1.0),
        ),
        habit=replace(
            habit,
            leaf_mm=habit.leaf_mm * float(size),
            cotyledon_mm=habit.cotyledon_mm * float(size),
            leaf_every_days=habit.leaf_every_days * float(pace),
            old_deg=habit.old_deg * float(stance),
        ),
        blade=replace(blade, aspect=blade.aspect * float(width), lobe_depth=min(blade.lobe_depth * float(depth), 0.93)),
    )
