"""The crop types the renderer can grow, one record each, by name."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from canopy.synthetic.habit import Blade, Cultivar, Habit, Surface
from canopy.synthetic.variety import draw_variety

__all__ = ["CULTIVARS", "Cultivar", "draw_variety"]

_LETTUCE_COTYLEDON = Blade(aspect=0.72, base_power=0.7, tip_power=0.48, petiole=0.28, petiole_width=0.08, ruffle=0.0)
_NOTCHED_COTYLEDON = Blade(
    aspect=1.3, widest=0.62, base_power=0.55, tip_power=0.42, sweep=0.42, petiole=0.4, petiole_width=0.07, ruffle=0.01
)
_ROUND_COTYLEDON = Blade(aspect=0.95, widest=0.5, base_power=0.6, tip_power=0.5, petiole=0.35, petiole_width=0.09, ruffle=0.0)
_STRAP_COTYLEDON = Blade(aspect=0.17, widest=0.55, base_power=0.8, tip_power=0.9, petiole=0.2, petiole_width=0.06, ruffle=0.0)
_HALF_DISC_COTYLEDON = Blade(  # basil: wider than long, flat base
    aspect=1.25, widest=0.4, base_power=0.4, tip_power=0.45, sweep=-0.12, petiole=0.25, petiole_width=0.08, ruffle=0.0
)
_TRIFID_COTYLEDON = Blade(  # garden cress: three narrow fingers
    aspect=0.95, widest=0.42, base_power=0.9, tip_power=0.62, sweep=0.75, petiole=0.34, petiole_width=0.05, ruffle=0.0,
    lobes=1.0, lobe_depth=0.72, terminal=0.4,
)  # fmt: skip

_BUTTERHEAD_BLADE = Blade(aspect=1.0, widest=0.6, base_power=0.8, tip_power=0.42, petiole=0.08, petiole_width=0.05, ruffle=0.05)
_COS_BLADE = Blade(aspect=0.55, widest=0.62, base_power=0.85, tip_power=0.48, petiole=0.06, petiole_width=0.06, ruffle=0.04)
_LOOSE_BLADE = Blade(aspect=0.85, widest=0.66, base_power=1.0, tip_power=0.4, petiole=0.08, petiole_width=0.045, ruffle=0.14)
_OAK_BLADE = Blade(
    aspect=0.66, widest=0.6, base_power=1.0, tip_power=0.45, sweep=0.3, petiole=0.12, petiole_width=0.045, ruffle=0.05,
    lobes=3.0, lobe_depth=0.55, terminal=0.3,
)  # fmt: skip
_BASIL_BLADE = Blade(
    aspect=0.68, widest=0.42, base_power=0.6, tip_power=0.95, petiole=0.2, petiole_width=0.035, teeth=9.0, tooth_depth=0.05
)
_KALE_BLADE = Blade(
    aspect=0.72, widest=0.55, base_power=0.8, tip_power=0.5, sweep=0.1, petiole=0.34, petiole_width=0.045, ruffle=0.1,
    lobes=3.0, lobe_depth=0.3, terminal=0.45, teeth=14.0, tooth_depth=0.1,
)  # fmt: skip
_ROCKET_BLADE = Blade(
    aspect=0.42, widest=0.72, base_power=0.5, tip_power=0.62, sweep=0.35, petiole=0.3, petiole_width=0.025,
    lobes=3.0, lobe_depth=0.82, terminal=0.38, ruffle=0.06,
)  # fmt: skip
_PAK_CHOI_BLADE = Blade(aspect=0.82, widest=0.55, base_power=0.5, tip_power=0.48, petiole=0.4, petiole_width=0.13, ruffle=0.03)

_GREEN_LETTUCE = Surface(blister=0.24, network=0.3)
_RED_LETTUCE = Surface(blister=0.2, pigment_share=(0.45, 0.95), pigment=(0.060, 0.013, 0.017), spread=0.15)
_BRASSICA = Surface(
    young=(0.115, 0.225, 0.05), mature=(0.05, 0.13, 0.03), vein=(0.24, 0.32, 0.17), stalk=(0.25, 0.34, 0.2), gloss=0.2, bloom=0.06
)

_LETTUCES = (
    Cultivar(
        "butterhead",
        Habit(leaf_mm=125, young_deg=60, old_deg=14, cup=0.15, frill=0.03, leaves=44, leaf_every_days=1.0),
        _BUTTERHEAD_BLADE, _LETTUCE_COTYLEDON, _GREEN_LETTUCE, gram_per_cm2=0.045,
    ),
    Cultivar(
        "butterhead_pale",
        Habit(leaf_mm=115, young_deg=62, old_deg=16, cup=0.17, frill=0.035, leaves=40, leaf_every_days=1.05),
        _BUTTERHEAD_BLADE, _LETTUCE_COTYLEDON,
        Surface(young=(0.26, 0.36, 0.07), mature=(0.15, 0.25, 0.04), vein=(0.34, 0.42, 0.18), blister=0.28),
        gram_per_cm2=0.045,
    ),
    Cultivar(
        "cos",
        Habit(leaf_mm=165, young_deg=72, old_deg=32, cup=0.14, frill=0.02, droop=0.15, leaves=36, leaf_every_days=1.1),
        _COS_BLADE, _LETTUCE_COTYLEDON,
        Surface(young=(0.12, 0.21, 0.04), mature=(0.04, 0.10, 0.018), blister=0.2, midrib=1.2, vein_contrast=0.5),
        gram_per_cm2=0.042,
    ),
    Cultivar(
        "cos_red",
        Habit(leaf_mm=145, young_deg=70, old_deg=28, cup=0.12, frill=0.02, droop=0.15, leaves=34, leaf_every_days=1.15),
        _COS_BLADE, _LETTUCE_COTYLEDON,
        Surface(mature=(0.045, 0.09, 0.02), blister=0.15, pigment_share=(0.35, 0.75), pigment_tip=0.7, midrib=1.2, gloss=0.4),
        gram_per_cm2=0.042,
    ),
    Cultivar(
        "red_leaf",
        Habit(leaf_mm=130, young_deg=58, old_deg=18, cup=0.1, frill=0.05, frill_waves=5, leaves=34, leaf_every_days=1.2),
        _LOOSE_BLADE, _LETTUCE_COTYLEDON, _RED_LETTUCE, gram_per_cm2=0.038,
    ),
    Cultivar(
        "red_leaf_dark",
        Habit(leaf_mm=120, young_deg=58, old_deg=20, cup=0.1, frill=0.05, frill_waves=5, leaves=34, leaf_every_days=1.2),
        _LOOSE_BLADE, _LETTUCE_COTYLEDON,
        Surface(
            young=(0.07, 0.11, 0.03), mature=(0.04, 0.06, 0.02), pigment=(0.018, 0.009, 0.013), pigment_share=(0.8, 1.0),
            cotyledon_pigment=0.75, stalk_pigment=0.5, stalk=(0.2, 0.2, 0.1), vein=(0.10, 0.08, 0.05), vein_contrast=0.3, gloss=0.55,
        ),
        gram_per_cm2=0.038,
    ),
    Cultivar(
        "green_leaf",
        Habit(leaf_mm=135, young_deg=58, old_deg=22, cup=0.1, frill=0.06, frill_waves=6, leaves=34, leaf_every_days=1.15),
        _LOOSE_BLADE, _LETTUCE_COTYLEDON,
        Surface(young=(0.2, 0.31, 0.055), mature=(0.105, 0.205, 0.03), blister=0.26),
        gram_per_cm2=0.038,
    ),
    Cultivar(
        "oak_leaf",
        Habit(leaf_mm=120, young_deg=55, old_deg=18, cup=0.08, frill=0.03, leaves=36, leaf_every_days=1.1),
        _OAK_BLADE, _LETTUCE_COTYLEDON,
        Surface(young=(0.17, 0.28, 0.05), mature=(0.08, 0.17, 0.028), blister=0.12), gram_per_cm2=0.036,
    ),
    Cultivar(
        "oak_leaf_red",
        Habit(leaf_mm=115, young_deg=55, old_deg=18, cup=0.08, frill=0.03, leaves=36, leaf_every_days=1.1),
        _OAK_BLADE, _LETTUCE_COTYLEDON,
        Surface(mature=(0.06, 0.11, 0.025), blister=0.12, pigment_share=(0.55, 1.0), pigment=(0.04, 0.011, 0.016), spread=0.14),
        gram_per_cm2=0.036,
    ),
)  # fmt: skip

_HERBS = (
    Cultivar(
        "basil",
        Habit(
            "opposite", leaf_mm=62, cotyledon_mm=11, first_share=0.55, climb=3, emergence_das=4.5, leaf_every_days=3.6, expansion_days=13,
            leaves=14, young_deg=50, old_deg=8, droop=0.3, cup=0.16, frill=0.01, hypocotyl_mm=14, internode_mm=16,
        ),
        _BASIL_BLADE, _HALF_DISC_COTYLEDON,
        Surface(
            young=(0.13, 0.235, 0.035), mature=(0.055, 0.14, 0.02), vein=(0.12, 0.22, 0.05), stalk=(0.2, 0.29, 0.12), veins=5,
            vein_deg=48, vein_contrast=0.3, network=0.15, blister=0.2, gloss=0.7, bloom=0.02,
        ),
    ),
    Cultivar(
        "basil_purple",
        Habit(
            "opposite", leaf_mm=55, cotyledon_mm=10, first_share=0.55, climb=3, emergence_das=5, leaf_every_days=4, expansion_days=14,
            leaves=14, young_deg=50, old_deg=10, droop=0.3, cup=0.14, frill=0.03, hypocotyl_mm=13, internode_mm=14,
        ),
        _BASIL_BLADE, _HALF_DISC_COTYLEDON,
        Surface(
            mature=(0.05, 0.08, 0.025), pigment=(0.030, 0.011, 0.022), pigment_share=(0.6, 1.0), cotyledon_pigment=0.8, stalk_pigment=0.8,
            vein=(0.06, 0.03, 0.04), veins=5, vein_deg=48, vein_contrast=0.3, blister=0.2, gloss=0.6,
        ),
    ),
    Cultivar(
        "rocket",
        Habit(leaf_mm=130, cotyledon_mm=14, first_share=0.4, climb=6, emergence_das=3, leaf_every_days=1.5, young_deg=60, old_deg=20,
              droop=0.35, cup=0.05, frill=0.02, leaves=20, hypocotyl_mm=12, bend=0.1, first_lobing=0.15),
        _ROCKET_BLADE, _NOTCHED_COTYLEDON,
        Surface(young=(0.12, 0.24, 0.04), mature=(0.05, 0.14, 0.025), veins=5, network=0.15, blister=0.06, gloss=0.25, bloom=0.03),
        gram_per_cm2=0.028,
    ),
    Cultivar(
        "spinach",
        Habit(leaf_mm=120, cotyledon_mm=32, first_share=0.4, climb=5, emergence_das=6, leaf_every_days=1.9, young_deg=60, old_deg=22,
              droop=0.25, cup=0.1, frill=0.025, leaves=18, hypocotyl_mm=8),
        Blade(aspect=0.68, widest=0.4, base_power=0.55, tip_power=0.7, petiole=0.4, petiole_width=0.04, ruffle=0.04),
        _STRAP_COTYLEDON,
        Surface(young=(0.09, 0.2, 0.03), mature=(0.035, 0.105, 0.018), blister=0.2, gloss=0.5, vein_contrast=0.35),
        gram_per_cm2=0.04,
    ),
)  # fmt: skip

_BRASSICAS = (
    Cultivar(
        "kale",
        Habit(leaf_mm=170, cotyledon_mm=17, first_share=0.3, climb=7, emergence_das=3, leaf_every_days=2.2, young_deg=62, old_deg=22,
              droop=0.3, cup=0.08, frill=0.05, frill_waves=7, leaves=18, hypocotyl_mm=18, internode_mm=1.5),
        _KALE_BLADE, _NOTCHED_COTYLEDON,
        Surface(young=(0.10, 0.18, 0.07), mature=(0.05, 0.10, 0.055), vein=(0.25, 0.32, 0.22), stalk=(0.24, 0.32, 0.22),
                pigment_share=(0.0, 0.12), stalk_pigment=0.5, blister=0.18, gloss=0.12, bloom=0.22, midrib=1.3, vein_contrast=0.55),
        gram_per_cm2=0.045,
    ),
    Cultivar(
        "kale_red",
        Habit(leaf_mm=150, cotyledon_mm=16, first_share=0.35, climb=6, emergence_das=3, leaf_every_days=2.2, young_deg=60, old_deg=22,
              droop=0.3, cup=0.06, frill=0.04, leaves=18, hypocotyl_mm=20, internode_mm=1.5),
        Blade(aspect=0.5, widest=0.5, base_power=0.9, tip_power=0.6, sweep=0.35, petiole=0.36, petiole_width=0.04, lobes=4,
              lobe_depth=0.6, terminal=0.3, teeth=12, tooth_depth=0.18, ruffle=0.08),
        _NOTCHED_COTYLEDON,
        Surface(young=(0.09, 0.15, 0.07), mature=(0.05, 0.085, 0.05), vein=(0.18, 0.06, 0.10), stalk=(0.22, 0.10, 0.14),
                pigment=(0.07, 0.025, 0.045), pigment_share=(0.1, 0.5), stalk_pigment=1.0, gloss=0.12, bloom=0.2, vein_contrast=0.7),
        gram_per_cm2=0.045,
    ),
    Cultivar(
        "pak_choi",
        Habit(leaf_mm=150, cotyledon_mm=17, first_share=0.32, climb=5, emergence_das=3, leaf_every_days=1.5, young_deg=62, old_deg=24,
              droop=0.25, cup=0.13, frill=0.02, leaves=20, hypocotyl_mm=10),
        _PAK_CHOI_BLADE, _NOTCHED_COTYLEDON,
        Surface(young=(0.09, 0.2, 0.03), mature=(0.032, 0.10, 0.02), vein=(0.34, 0.42, 0.28), stalk=(0.52, 0.56, 0.44), vein_contrast=0.5,
                blister=0.08, gloss=0.5, midrib=0.9),
        gram_per_cm2=0.06,
    ),
    Cultivar(
        "pak_choi_green",
        Habit(leaf_mm=130, cotyledon_mm=16, first_share=0.32, climb=5, emergence_das=3, leaf_every_days=1.5, young_deg=60, old_deg=22,
              droop=0.25, cup=0.13, frill=0.02, leaves=20, hypocotyl_mm=9),
        _PAK_CHOI_BLADE, _NOTCHED_COTYLEDON,
        Surface(young=(0.12, 0.24, 0.04), mature=(0.06, 0.15, 0.028), vein=(0.26, 0.36, 0.17), stalk=(0.27, 0.38, 0.17), blister=0.08,
                gloss=0.45, midrib=0.9),
        gram_per_cm2=0.06,
    ),
    Cultivar(
        "brassica_shoots",
        Habit("shoot", leaf_mm=30, cotyledon_mm=17, first_share=1.0, emergence_das=2.5, leaf_every_days=3, leaves=2, young_deg=65, old_deg=20,
              hypocotyl_mm=34, internode_mm=1, lean=0.22, seedlings=1.4, spread_mm=4),
        Blade(aspect=0.7, petiole=0.35, petiole_width=0.05, teeth=6, tooth_depth=0.12), _NOTCHED_COTYLEDON, _BRASSICA,
    ),
    Cultivar(
        "brassica_shoots_purple",
        Habit("shoot", leaf_mm=28, cotyledon_mm=16, first_share=1.0, emergence_das=2.5, leaf_every_days=3, leaves=2, young_deg=65, old_deg=20,
              hypocotyl_mm=32, internode_mm=1, lean=0.22, seedlings=1.4, spread_mm=4),
        Blade(aspect=0.7, petiole=0.35, petiole_width=0.05, teeth=6, tooth_depth=0.12), _NOTCHED_COTYLEDON,
        Surface(young=(0.10, 0.16, 0.05), mature=(0.05, 0.085, 0.035), pigment=(0.075, 0.022, 0.055), pigment_share=(0.2, 0.8),
                cotyledon_pigment=1.0, stalk=(0.30, 0.14, 0.24), stalk_pigment=0.9, gloss=0.2, bloom=0.06),
    ),
    Cultivar(
        "cress",
        Habit("shoot", leaf_mm=18, cotyledon_mm=11, first_share=1.0, emergence_das=2, leaf_every_days=3, leaves=2, young_deg=70, old_deg=25,
              hypocotyl_mm=30, internode_mm=1, lean=0.25, seedlings=2, spread_mm=4),
        Blade(aspect=0.45, petiole=0.4, petiole_width=0.05), _TRIFID_COTYLEDON,
        Surface(young=(0.13, 0.25, 0.04), mature=(0.055, 0.16, 0.025), gloss=0.25, bloom=0.03),
    ),
)  # fmt: skip

_OTHERS = (
    Cultivar(
        "thale_rosette",
        Habit(leaf_mm=38, cotyledon_mm=4.5, young_deg=40, old_deg=8, droop=0.15, cup=0.06, leaves=26, leaf_every_days=1.3,
              emergence_das=4, hypocotyl_mm=1.0, first_share=0.3),
        Blade(aspect=0.68, widest=0.52, base_power=0.75, tip_power=0.55, petiole=0.45, petiole_width=0.045, ruffle=0.02),
        _ROUND_COTYLEDON,
        Surface(young=(0.14, 0.22, 0.05), mature=(0.085, 0.155, 0.04), vein_contrast=0.25, veins=4, blister=0.05, gloss=0.15,
                bloom=0.12, network=0.1),
    ),
    Cultivar(
        "barley",
        Habit("grass", leaf_mm=140, first_share=0.75, climb=2, emergence_das=2.5, leaf_every_days=2.2, expansion_days=8, leaves=4,
              young_deg=80, old_deg=52, droop=1.3, cup=0.1, frill=0.0, hypocotyl_mm=4, internode_mm=6, bend=0.14, seedlings=1.6,
              spread_mm=4),
        Blade(aspect=0.045, widest=0.35, base_power=0.25, tip_power=0.8, petiole=0.02, petiole_width=0.03, ruffle=0.0), _STRAP_COTYLEDON,
        Surface(young=(0.16, 0.27, 0.05), mature=(0.07, 0.17, 0.03), veins=0, vein_contrast=0.2, midrib=0.5, network=0.0, blister=0.02,
                gloss=0.35, stalk=(0.3, 0.36, 0.2)),
        gram_per_cm2=0.02,
    ),
)  # fmt: skip

CULTIVARS: Mapping[str, Cultivar] = MappingProxyType(
    {cultivar.name: cultivar for cultivar in (*_LETTUCES, *_HERBS, *_BRASSICAS, *_OTHERS)}
)
