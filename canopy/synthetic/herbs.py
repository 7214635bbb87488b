"""Herbs, spinach, a small rosette and grass."""

from __future__ import annotations

from canopy.synthetic.habit import Blade, Cultivar, Habit, Surface

_ROUND_COTYLEDON = Blade(
    aspect=0.95, widest=0.5, base_power=0.6, tip_power=0.5, petiole=0.35, petiole_width=0.09, ruffle=0.0
)
_STRAP_COTYLEDON = Blade(
    aspect=0.17, widest=0.55, base_power=0.8, tip_power=0.9, petiole=0.2, petiole_width=0.06, ruffle=0.0
)
_HALF_DISC_COTYLEDON = Blade(  # basil: wider than long, flat base
    aspect=1.25, widest=0.4, base_power=0.4, tip_power=0.45, sweep=-0.12, petiole=0.25, petiole_width=0.08, ruffle=0.0
)
_BASIL_BLADE = Blade(
    aspect=0.68,
    widest=0.42,
    base_power=0.6,
    tip_power=0.95,
    petiole=0.2,
    petiole_width=0.035,
    teeth=9.0,
    tooth_depth=0.05,
)
HERBS = (
    Cultivar(
        "basil",
        Habit(
            "opposite",
            leaf_mm=62,
            cotyledon_mm=11,
            first_share=0.55,
            climb=3,
            emergence_das=4.5,
            leaf_every_days=3.6,
            expansion_days=13,
            leaves=14,
            young_deg=50,
            old_deg=8,
            droop=0.3,
            cup=0.16,
            frill=0.01,
            hypocotyl_mm=14,
            internode_mm=16,
        ),
        _BASIL_BLADE,
        _HALF_DISC_COTYLEDON,
        Surface(
            young=(0.13, 0.235, 0.035),
            mature=(0.055, 0.14, 0.02),
            vein=(0.12, 0.22, 0.05),
            stalk=(0.2, 0.29, 0.12),
            veins=5,
            vein_deg=48,
            vein_contrast=0.3,
            network=0.15,
            blister=0.2,
            gloss=0.7,
            bloom=0.02,
        ),
    ),
    Cultivar(
        "basil_purple",
        Habit(
            "opposite",
            leaf_mm=55,
            cotyledon_mm=10,
            first_share=0.55,
            climb=3,
            emergence_das=5,
            leaf_every_days=4,
            expansion_days=14,
            leaves=14,
            young_deg=50,
            old_deg=10,
            droop=0.3,
            cup=0.14,
            frill=0.03,
            hypocotyl_mm=13,
            internode_mm=14,
        ),
        _BASIL_BLADE,
        _HALF_DISC_COTYLEDON,
        Surface(
            mature=(0.05, 0.08, 0.025),
            pigment=(0.030, 0.011, 0.022),
            pigment_share=(0.6, 1.0),
            cotyledon_pigment=0.8,
            stalk_pigment=0.8,
            vein=(0.06, 0.03, 0.04),
            veins=5,
            vein_deg=48,
            vein_contrast=0.3,
            blister=0.2,
            gloss=0.6,
            bloom=0.0,
        ),
    ),
    Cultivar(
        "spinach",
        Habit(
            leaf_mm=120,
            cotyledon_mm=32,
            first_share=0.4,
            climb=5,
            emergence_das=6,
            leaf_every_days=1.9,
            young_deg=60,
            old_deg=22,
            droop=0.25,
            cup=0.1,
            frill=0.025,
            leaves=18,
            hypocotyl_mm=8,
        ),
        Blade(aspect=0.68, widest=0.4, base_power=0.55, tip_power=0.7, petiole=0.4, petiole_width=0.04, ruffle=0.04),
        _STRAP_COTYLEDON,
        Surface(young=(0.09, 0.2, 0.03), mature=(0.035, 0.105, 0.018), blister=0.2, gloss=0.5, vein_contrast=0.35),
        gram_per_cm2=0.04,
    ),
)

OTHERS = (
    Cultivar(
        "thale_rosette",
        Habit(
            leaf_mm=38,
            cotyledon_mm=4.5,
            young_deg=40,
            old_deg=8,
            droop=0.15,
            cup=0.06,
            leaves=26,
            leaf_every_days=1.3,
            emergence_das=4,
            hypocotyl_mm=1.0,
            first_share=0.3,
        ),
        Blade(
            aspect=0.68, widest=0.52, base_power=0.75, tip_power=0.55, petiole=0.45, petiole_width=0.045, ruffle=0.02
        ),
        _ROUND_COTYLEDON,
        Surface(
            young=(0.14, 0.22, 0.05),
            mature=(0.085, 0.155, 0.04),
            vein_contrast=0.25,
            veins=4,
            blister=0.05,
            gloss=0.15,
            bloom=0.12,
            network=0.1,
        ),
    ),
    Cultivar(
        "barley",
        Habit(
            "grass",
            leaf_mm=140,
            first_share=0.75,
            climb=2,
            emergence_das=2.5,
            leaf_every_days=2.2,
            expansion_days=8,
            leaves=4,
            young_deg=80,
            old_deg=52,
            droop=1.3,
            cup=0.1,
            frill=0.0,
            hypocotyl_mm=4,
            internode_mm=6,
            bend=0.14,
            seedlings=1.6,
            spread_mm=4,
        ),
        Blade(aspect=0.045, widest=0.35, base_power=0.25, tip_power=0.8, petiole=0.02, petiole_width=0.03, ruffle=0.0),
        _STRAP_COTYLEDON,
        Surface(
            young=(0.16, 0.27, 0.05),
            mature=(0.07, 0.17, 0.03),
            veins=0,
            vein_contrast=0.2,
            midrib=0.5,
            network=0.0,
            blister=0.02,
            gloss=0.35,
            stalk=(0.3, 0.36, 0.2),
        ),
        gram_per_cm2=0.02,
    ),
)
