"""Lettuces: hearted, upright and loose, green and red."""

from __future__ import annotations

from canopy.synthetic.habit import Blade, Cultivar, Habit, Surface

_LETTUCE_COTYLEDON = Blade(aspect=0.72, base_power=0.7, tip_power=0.48, petiole=0.28, petiole_width=0.08, ruffle=0.0)
_BUTTERHEAD_BLADE = Blade(
    aspect=1.0, widest=0.6, base_power=0.8, tip_power=0.42, petiole=0.08, petiole_width=0.05, ruffle=0.05
)
_COS_BLADE = Blade(
    aspect=0.55, widest=0.62, base_power=0.85, tip_power=0.48, petiole=0.06, petiole_width=0.06, ruffle=0.04
)
_LOOSE_BLADE = Blade(
    aspect=0.88,
    widest=0.66,
    base_power=0.95,
    tip_power=0.38,
    petiole=0.08,
    petiole_width=0.045,
    ruffle=0.15,
    teeth=11.0,
    tooth_depth=0.06,
)
_OAK_BLADE = Blade(
    aspect=0.66,
    widest=0.6,
    base_power=1.0,
    tip_power=0.45,
    sweep=0.3,
    petiole=0.12,
    petiole_width=0.045,
    ruffle=0.05,
    lobes=3.0,
    lobe_depth=0.55,
    terminal=0.3,
)
_GREEN_LETTUCE = Surface(blister=0.24, network=0.3)
_RED_LETTUCE = Surface(blister=0.2, pigment_share=(0.45, 0.95), pigment=(0.060, 0.013, 0.017), spread=0.15)
LETTUCES = (
    Cultivar(
        "butterhead",
        Habit(leaf_mm=148, young_deg=60, old_deg=14, cup=0.15, frill=0.03, leaves=44, leaf_every_days=1.0),
        _BUTTERHEAD_BLADE,
        _LETTUCE_COTYLEDON,
        _GREEN_LETTUCE,
        gram_per_cm2=0.07,
    ),
    Cultivar(
        "butterhead_pale",
        Habit(leaf_mm=136, young_deg=62, old_deg=16, cup=0.17, frill=0.035, leaves=40, leaf_every_days=1.05),
        _BUTTERHEAD_BLADE,
        _LETTUCE_COTYLEDON,
        Surface(young=(0.26, 0.36, 0.07), mature=(0.15, 0.25, 0.04), vein=(0.34, 0.42, 0.18), blister=0.28),
        gram_per_cm2=0.07,
    ),
    Cultivar(
        "cos",
        Habit(leaf_mm=195, young_deg=72, old_deg=32, cup=0.14, frill=0.02, droop=0.15, leaves=36, leaf_every_days=1.1),
        _COS_BLADE,
        _LETTUCE_COTYLEDON,
        Surface(young=(0.12, 0.21, 0.04), mature=(0.04, 0.10, 0.018), blister=0.2, midrib=1.2, vein_contrast=0.5),
        gram_per_cm2=0.065,
    ),
    Cultivar(
        "cos_red",
        Habit(leaf_mm=171, young_deg=70, old_deg=28, cup=0.12, frill=0.02, droop=0.15, leaves=34, leaf_every_days=1.15),
        _COS_BLADE,
        _LETTUCE_COTYLEDON,
        Surface(
            mature=(0.045, 0.09, 0.02), blister=0.15, pigment_share=(0.35, 0.75), pigment_tip=0.7, midrib=1.2, gloss=0.4
        ),
        gram_per_cm2=0.065,
    ),
    Cultivar(
        "red_leaf",
        Habit(
            leaf_mm=153, young_deg=58, old_deg=18, cup=0.1, frill=0.05, frill_waves=5, leaves=34, leaf_every_days=1.2
        ),
        _LOOSE_BLADE,
        _LETTUCE_COTYLEDON,
        _RED_LETTUCE,
        gram_per_cm2=0.055,
    ),
    Cultivar(
        "red_leaf_dark",
        Habit(
            leaf_mm=142, young_deg=58, old_deg=20, cup=0.1, frill=0.05, frill_waves=5, leaves=34, leaf_every_days=1.2
        ),
        _LOOSE_BLADE,
        _LETTUCE_COTYLEDON,
        Surface(
            young=(0.07, 0.11, 0.03),
            mature=(0.04, 0.06, 0.02),
            pigment=(0.018, 0.009, 0.013),
            pigment_share=(0.8, 1.0),
            cotyledon_pigment=0.75,
            stalk_pigment=0.5,
            stalk=(0.2, 0.2, 0.1),
            vein=(0.10, 0.08, 0.05),
            vein_contrast=0.3,
            gloss=0.55,
            bloom=0.0,
        ),
        gram_per_cm2=0.055,
    ),
    Cultivar(
        "green_leaf",
        Habit(
            leaf_mm=159, young_deg=58, old_deg=22, cup=0.1, frill=0.06, frill_waves=6, leaves=34, leaf_every_days=1.15
        ),
        _LOOSE_BLADE,
        _LETTUCE_COTYLEDON,
        Surface(young=(0.2, 0.31, 0.055), mature=(0.105, 0.205, 0.03), blister=0.26),
        gram_per_cm2=0.055,
    ),
    Cultivar(
        "oak_leaf",
        Habit(leaf_mm=142, young_deg=55, old_deg=18, cup=0.08, frill=0.03, leaves=36, leaf_every_days=1.1),
        _OAK_BLADE,
        _LETTUCE_COTYLEDON,
        Surface(young=(0.17, 0.28, 0.05), mature=(0.08, 0.17, 0.028), blister=0.12),
        gram_per_cm2=0.05,
    ),
    Cultivar(
        "oak_leaf_red",
        Habit(leaf_mm=136, young_deg=55, old_deg=18, cup=0.08, frill=0.03, leaves=36, leaf_every_days=1.1),
        _OAK_BLADE,
        _LETTUCE_COTYLEDON,
        Surface(
            mature=(0.06, 0.11, 0.025),
            blister=0.12,
            pigment_share=(0.55, 1.0),
            pigment=(0.04, 0.011, 0.016),
            spread=0.14,
        ),
        gram_per_cm2=0.05,
    ),
)
