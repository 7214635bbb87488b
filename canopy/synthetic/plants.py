"""Grow one plant: the same seed gives the same plant on every day, only older."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canopy.synthetic.complexion import Complexion, complexion, leaf_damage, leaf_look, stem_look
from canopy.synthetic.damage import BROWN, DEAD, YELLOW, LeafDamage
from canopy.synthetic.growth import Node, Stance, nodes, size_share, stance
from canopy.synthetic.habit import Blade, Cultivar
from canopy.synthetic.leaf_outline import STEPS, Outline, make_outline
from canopy.synthetic.leaf_shape import half_widths
from canopy.synthetic.leaves import Leaf, Relief, make_leaf, paint_leaf
from canopy.synthetic.stress import Stress

__all__ = ["Plant", "Stress", "grow_plant"]

_SMALLEST_LEAF_MM = 0.8  # shorter ones are hidden in the bud
_SHORTEST_STEM_MM = 2.5  # more upright stems are hidden under their leaves
_MASS_POWER = 1.05  # fresh mass over leaf area: larger leaves are thicker; common practice, no source
_DAMAGE_SAMPLES = 700  # points over a leaf's box when its damaged share is counted
_LAYER_MM = 1e-3  # least step between two leaves of one stem in a painter's order
_STEM_WIDTH = 0.022  # diameter of a stem over its height, on top of 0.5 mm
_HEALTHY = Stress()

Base = tuple[float, float, float]


@dataclass(frozen=True)
class Plant:
    """One plant (or one group sown together) on one day.

    Attributes
    ----------
    index : 1-based place in the tray.
    x_mm, y_mm : where it was sown.
    height_mm : highest leaf above the medium.
    weight_g : fresh mass, gram_per_cm2 · area^1.05 over true leaf area in cm² (common practice, no source).
    alive : False when dead or not yet emerged.
    wilted : 0..1.
    yellow, brown : share of the leaf area, seen leaf by leaf from above, that is yellow, and brown or dead.
    """

    index: int
    x_mm: float
    y_mm: float
    cultivar: str
    das: float
    leaves: tuple[Leaf, ...]
    height_mm: float
    weight_g: float
    alive: bool
    wilted: float
    yellow: float
    brown: float


@dataclass(frozen=True)
class _Day:
    """What all leaves of a plant share on one day; `delay_days` is how late it came up."""

    cultivar: Cultivar
    plant: int
    das: float
    vigour: float
    delay_days: float
    seed: int
    stress: Stress
    tint: Complexion


def grow_plant(
    cultivar: Cultivar,
    *,
    index: int,
    x_mm: float,
    y_mm: float,
    base_z_mm: float,
    das: float,
    vigour: float,
    seed: int,
    stress: Stress = _HEALTHY,
) -> Plant:
    """One plant at an age.

    Parameters
    ----------
    cultivar : Cultivar
    index : int
        1-based index of the plant in its tray.
    x_mm, y_mm, base_z_mm : float
        Where the stem leaves the medium.
    das : float
        Days after sowing.
    vigour : float
        1 is normal; scales size and hastens growth, 0.5 is a weak plant.
    seed : int
        The plant's own seed. All draws come from it in an order that does not depend on `das`.
    stress : Stress
        What ails the plant on this day.
    """
    rng = np.random.default_rng([seed, 1])
    tint = complexion(cultivar.surface, rng)
    day = _Day(cultivar, index, das, vigour, 2.5 * max(1.0 - vigour, 0.0), seed, stress, tint)
    count = max(round(cultivar.habit.seedlings * rng.uniform(0.7, 1.3)), 1)
    leaves: list[Leaf] = []
    true_mm2 = 0.0
    for number in range(count):
        grown, area = _grow_seedling(day, number, (x_mm, y_mm, base_z_mm))
        leaves += grown
        true_mm2 += area
    yellow, brown = _damaged_shares(leaves)
    weight = cultivar.gram_per_cm2 * (true_mm2 / 100.0) ** _MASS_POWER
    return Plant(
        index=index,
        x_mm=x_mm,
        y_mm=y_mm,
        cultivar=cultivar.name,
        das=das,
        leaves=tuple(leaves),
        height_mm=max([leaf.top_mm - base_z_mm for leaf in leaves], default=0.0),
        weight_g=weight * (0.15 if stress.dead else 1.0),  # a dry plant: what is left without its water
        alive=bool(leaves) and not stress.dead,
        wilted=stress.wilting,
        yellow=yellow,
        brown=brown,
    )


def _grow_seedling(day: _Day, number: int, sown_mm: Base) -> tuple[list[Leaf], float]:
    """Leaves of one stem, and their true area in mm²."""
    habit, stress = day.cultivar.habit, day.stress
    rng = np.random.default_rng([day.seed, 2, number])
    apart = rng.normal(0.0, habit.spread_mm, 2) * (number > 0 or habit.seedlings > 2)
    azimuth, lean_to = rng.uniform(0.0, 2.0 * math.pi, 2)
    late, lean, size = rng.normal(0.0, 1.0, 3)
    delay = day.delay_days + 0.35 * abs(late)
    plan = nodes(habit, azimuth_rad=azimuth, delay_days=delay, rng=rng)
    age = day.das - habit.emergence_das - delay
    if age <= 0.0:
        return [], 0.0
    height = habit.hypocotyl_mm * (1.0 + 1.2 * stress.stretch) * size_share(age + 2.0, 8.0) * math.exp(0.12 * size)
    slant = min(
        abs(habit.lean * lean) + 0.25 * stress.stretch + 0.8 * stress.wilting + (1.2 if stress.dead else 0.0), 1.3
    )
    x, y = sown_mm[0] + float(apart[0]), sown_mm[1] + float(apart[1])
    away, up = height * math.sin(slant), height * math.cos(slant)
    top = (x + away * math.cos(lean_to), y + away * math.sin(lean_to), sown_mm[2] + up)
    leaves: list[Leaf] = []
    area = 0.0
    if away > _SHORTEST_STEM_MM:
        leaves.append(_stem(day, (x, y, sown_mm[2]), top, lean_to))
    oldest = max(day.das - plan[0].birth_das, 1.0)
    for node in plan:
        grown = _grow_leaf(day, node, number, top, oldest, math.exp(0.07 * size))
        if grown is not None:
            leaves.append(grown[0])
            area += grown[1]
    return _layered(leaves), area


def _layered(leaves: list[Leaf]) -> list[Leaf]:
    """Leaves of one stem from the oldest on, each put above those before it."""
    placed: list[Leaf] = []
    above = -math.inf
    for leaf in leaves:
        above = max(leaf.layer_mm, above + _LAYER_MM)
        placed.append(replace(leaf, layer_mm=above))
    return placed


def _grow_leaf(
    day: _Day, node: Node, seedling: int, top_mm: Base, oldest: float, size: float
) -> tuple[Leaf, float] | None:
    """One leaf and its true area in mm²; None while it is too small to see."""
    habit, stress = day.cultivar.habit, day.stress
    age = day.das - node.birth_das
    ripe = size_share(age, node.days) if node.part == "leaf" else size_share(age + 1.5, node.days) * (age > 0.0)
    length = node.full_mm * day.vigour * size * ripe * (0.7 if stress.dead else 1.0 - 0.2 * stress.wilting)
    if length < _SMALLEST_LEAF_MM:
        return None
    rng = np.random.default_rng([day.seed, 3, seedling, node.number])
    jitter = rng.normal(0.0, 1.0, 8)
    blade = _stressed(day.cultivar.blade if node.part == "leaf" else day.cultivar.cotyledon, stress)
    standing = _stand(day, node, ripe, length, jitter)
    outline = _leaf_outline(day, node, blade, ripe, length, standing, jitter, rng)
    look = leaf_look(day.cultivar.surface, blade, day.tint, outline, part=node.part, ripe=ripe, stress=stress, rng=rng)
    oldness = min(age / oldest, 1.0)
    damage = leaf_damage(stress, day.tint, oldness=oldness, age_days=age, part=node.part, jitter=jitter[3:6])
    climb = (
        habit.internode_mm
        * node.level
        * (size_share(age + 3.0, habit.expansion_days) if habit.internode_mm > 2 else 1.0)
    )
    azimuth = node.azimuth_rad + (0.25 * stress.wilting + (0.6 if stress.dead else 0.0)) * jitter[6]
    behind = 0.35 * blade.petiole_width * outline.length_mm  # stalks clasp the stem
    leaf = make_leaf(
        plant=day.plant,
        part=node.part,
        base_mm=(
            top_mm[0] - behind * math.cos(azimuth),
            top_mm[1] - behind * math.sin(azimuth),
            top_mm[2] + climb * (1.0 - 0.7 * stress.wilting) + standing.lift_mm,
        ),
        azimuth_rad=azimuth,
        outline=outline,
        relief=_relief(day, node, standing, outline, rng),
        look=look,
        damage=damage,
    )
    return leaf, outline.area_mm2 / standing.seen_share


def _stressed(blade: Blade, stress: Stress) -> Blade:
    """The blade with longer stalks for want of light, or crumpled when dry."""
    return replace(
        blade,
        petiole=blade.petiole + 0.25 * stress.stretch * (1.0 - blade.petiole),
        aspect=blade.aspect * (1.0 - 0.15 * stress.stretch),
        ruffle=blade.ruffle + (0.4 if stress.dead else 0.05 * stress.wilting),
    )


def _stand(day: _Day, node: Node, ripe: float, length: float, jitter: NDArray[np.float64]) -> Stance:
    """Elevation and droop of a leaf: it opens as it grows, and hangs when dry."""
    habit, stress = day.cultivar.habit, day.stress
    if node.part == "cotyledon":
        young, old, droop = 65.0, 6.0, 0.08
    else:
        young, old, droop = habit.young_deg, habit.old_deg, habit.droop * ripe
    degrees = old + (young - old) * (1.0 - ripe) ** 1.2 + 5.0 * jitter[1] - (14.0 + 8.0 * jitter[2]) * stress.wilting
    if stress.dead:
        degrees, droop = 6.0 + 9.0 * jitter[1], 0.3 * abs(jitter[2])
    return stance(
        length, elevation_rad=math.radians(degrees), droop=droop * math.exp(0.2 * jitter[2]) + 0.6 * stress.wilting
    )


def _leaf_outline(
    day: _Day,
    node: Node,
    blade: Blade,
    ripe: float,
    length: float,
    standing: Stance,
    jitter: NDArray[np.float64],
    rng: np.random.Generator,
) -> Outline:
    """Footprint of a leaf: widths by its true length, length as seen from above."""
    stress = day.stress
    width = (0.6 + 0.4 * math.sqrt(ripe)) * math.exp(0.06 * jitter[0]) * (1.0 - 0.45 * stress.wilting)
    lobing = min(day.cultivar.habit.first_lobing + 0.2 * node.level, 1.0) if node.part == "leaf" else 1.0
    right, left = half_widths(
        blade, length_mm=length, width=width * (0.42 if stress.dead else 1.0), lobing=lobing, rng=rng
    )
    bend = (day.cultivar.habit.bend + 0.12 * stress.wilting + (0.2 if stress.dead else 0.0)) * jitter[7]
    return make_outline(
        right, left, length_mm=length * standing.seen_share, sweep=blade.sweep, bend=float(np.clip(bend, -0.45, 0.45))
    )


def _relief(day: _Day, node: Node, standing: Stance, outline: Outline, rng: np.random.Generator) -> Relief:
    habit = day.cultivar.habit
    cup, frill, waves, twist = rng.normal(0.0, 1.0, 4)
    phase = rng.uniform(0.0, 2.0 * math.pi)
    flat = 0.4 if node.part == "cotyledon" else 1.0
    turns = habit.frill_waves * math.exp(0.15 * waves)
    # waves along the margin may not be steeper than about 0.3
    highest = 0.03 * outline.length_mm / (max(outline.widest_mm, 1e-3) * max(turns, 0.5))
    return Relief(
        rise=standing.rise,
        droop=standing.droop,
        cup=float(np.clip(habit.cup * flat + 0.05 * cup - 0.25 * day.stress.wilting, -0.16, 0.16)),
        frill=min(habit.frill * flat * math.exp(0.3 * frill), highest, 0.05),
        waves=turns,
        phase=float(phase),
        twist=float(np.clip(0.06 * twist, -0.15, 0.15)),
    )


def _stem(day: _Day, foot_mm: Base, top_mm: Base, azimuth_rad: float) -> Leaf:
    """The slanting stem below the cotyledons, as a strip."""
    away = math.hypot(top_mm[0] - foot_mm[0], top_mm[1] - foot_mm[1])
    up = top_mm[2] - foot_mm[2]
    rise = min(up / away, 1.0)
    half = 0.5 * (0.5 + _STEM_WIDTH * math.hypot(away, up)) * math.sqrt(day.vigour)
    profile = min(half, 0.25 * away) * np.linspace(1.15, 0.85, STEPS + 1)
    outline = make_outline(profile, profile, length_mm=away, sweep=0.0, bend=0.0)
    hurt = LeafDamage(dead=day.stress.dead, straw=day.tint.straw, brown=day.tint.brown)
    return make_leaf(
        plant=day.plant,
        part="stem",
        base_mm=(foot_mm[0], foot_mm[1], top_mm[2] - rise * away),
        azimuth_rad=azimuth_rad,
        outline=outline,
        relief=Relief(rise, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
        look=stem_look(day.cultivar.surface, day.tint, outline),
        damage=hurt,
    )


def _damaged_shares(leaves: list[Leaf]) -> tuple[float, float]:
    """Yellow share, and brown or dead share, of the summed leaf area."""
    area = sum(leaf.area_mm2 for leaf in leaves)
    yellow = brown = 0.0
    for leaf in leaves:
        if not leaf.damage.any:
            continue
        x0, y0, _, x1, y1, _ = leaf.bounds_mm
        px = math.sqrt((x1 - x0) * (y1 - y0) / _DAMAGE_SAMPLES)
        x, y = np.meshgrid(np.arange(x0, x1, px, dtype=np.float32), np.arange(y0, y1, px, dtype=np.float32))
        paint = paint_leaf(leaf, x, y, px_mm=px)
        here = max(float(paint.coverage.sum()), 1e-6)
        yellow += leaf.area_mm2 * float(paint.coverage[paint.damage == YELLOW].sum()) / here
        brown += leaf.area_mm2 * float(paint.coverage[(paint.damage == BROWN) | (paint.damage == DEAD)].sum()) / here
    return (yellow / area, brown / area) if area > 0.0 else (0.0, 0.0)
