"""What a cultivar looks like and how it grows: the records.

Lengths are mm, ages days after sowing (DAS), colours linear reflectance on sRGB primaries. All figures are ours,
set by eye for plausible pictures: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Rgb = tuple[float, float, float]
Range = tuple[float, float]


@dataclass(frozen=True)
class Blade:
    """The outline of a leaf, relative to its length.

    Attributes
    ----------
    aspect : greatest width over blade length.
    widest : where along the blade it is widest, 0 base … 1 tip.
    base_power, tip_power : 0.4 blunt, 0.6 round, 1 pointed, 1.6 drawn out.
    sweep : > 0 lobes point forward and the tip is notched, < 0 the base is heart-shaped.
    petiole, petiole_width : length and width of the stalk over whole length.
    lobes, lobe_depth, terminal : lobes per side, how deep they cut (0..1), undivided share at the tip.
    teeth, tooth_depth : teeth per side and their depth over half-width.
    ruffle : irregular waviness of the margin over half-width.
    """

    aspect: float = 0.6
    widest: float = 0.55
    base_power: float = 0.8
    tip_power: float = 0.6
    sweep: float = 0.0
    petiole: float = 0.2
    petiole_width: float = 0.035
    lobes: float = 0.0
    lobe_depth: float = 0.0
    terminal: float = 0.3
    teeth: float = 0.0
    tooth_depth: float = 0.0
    ruffle: float = 0.03


@dataclass(frozen=True)
class Habit:
    """How leaves are arranged, when they come and how they stand.

    Attributes
    ----------
    arrangement : spiral (golden angle), opposite (pairs at right angles), shoot (cotyledons on a stem), grass (blades).
    leaf_mm, cotyledon_mm : full length with stalk of the largest leaf and of a cotyledon.
    first_share : length of the first true leaf over leaf_mm; the next ones grow towards it over `climb` leaves.
    emergence_das, leaf_every_days, expansion_days : cotyledons show; days between leaves; days from 0 to nearly full
        size.
    leaves : most true leaves.
    young_deg, old_deg : elevation above the horizontal of new and of full-grown leaves.
    droop, cup, frill, frill_waves : how far tips hang, how hollow the blade is, height and number of margin waves.
    hypocotyl_mm, internode_mm : stem up to the cotyledons and between later nodes.
    lean, bend : typical slant of the stem in radians, sideways bend of leaves over their length.
    first_lobing : lobe depth of the first true leaf over that of later ones.
    seedlings, spread_mm : plants sown together in one place and how far apart (standard deviation).
    """

    arrangement: Literal["spiral", "opposite", "shoot", "grass"] = "spiral"
    leaf_mm: float = 120.0
    cotyledon_mm: float = 14.0
    first_share: float = 0.3
    climb: float = 9.0
    emergence_das: float = 3.5
    leaf_every_days: float = 1.4
    expansion_days: float = 24.0
    leaves: int = 24
    young_deg: float = 55.0
    old_deg: float = 12.0
    droop: float = 0.25
    cup: float = 0.1
    frill: float = 0.02
    frill_waves: float = 4.0
    hypocotyl_mm: float = 5.0
    internode_mm: float = 0.4
    lean: float = 0.12
    bend: float = 0.05
    first_lobing: float = 0.35
    seedlings: float = 1.0
    spread_mm: float = 0.0


@dataclass(frozen=True)
class Surface:
    """Colour and relief of the blade.

    Attributes
    ----------
    young, mature, vein, stalk : reflectances.
    pigment : red or purple that covers green by `pigment_share` (range drawn per plant); weights say where it gathers.
    veins, vein_deg, vein_contrast : side veins per half, angle to the midrib, how pale.
    network, network_scale : strength of the fine vein network, tiles per leaf length.
    midrib : width of midrib over that of the stalk.
    blister : height of bulges between veins over their spacing.
    gloss, bloom : specular strength 0..1; whitish wax, hair or dust 0..1.
    spread : how much plants of one lot differ in colour.
    """

    young: Rgb = (0.135, 0.235, 0.045)
    mature: Rgb = (0.060, 0.140, 0.025)
    vein: Rgb = (0.20, 0.29, 0.11)
    stalk: Rgb = (0.20, 0.29, 0.11)
    pigment: Rgb = (0.060, 0.014, 0.018)
    pigment_share: Range = (0.0, 0.0)
    pigment_margin: float = 0.6
    pigment_tip: float = 0.5
    pigment_between: float = 0.3
    cotyledon_pigment: float = 0.3
    stalk_pigment: float = 0.2
    veins: float = 6.0
    vein_deg: float = 55.0
    vein_contrast: float = 0.45
    midrib: float = 1.0
    network: float = 0.25
    network_scale: float = 1.2
    blister: float = 0.10
    gloss: float = 0.35
    bloom: float = 0.02
    spread: float = 0.10


@dataclass(frozen=True)
class Cultivar:
    """One crop type: arrangement, leaf outlines, colour, and grams of fresh mass per cm² of leaf."""

    name: str
    habit: Habit
    blade: Blade
    cotyledon: Blade
    surface: Surface
    gram_per_cm2: float = 0.030
