"""When leaves come, how large they are on a day and how they stand."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from canopy.synthetic.habit import Habit

GOLDEN_ANGLE_RAD = math.pi * (3.0 - math.sqrt(5.0))  # 137.5 degrees, the usual divergence of spiral leaves

_STEEPNESS = 7.0  # the logistic runs from 3 to 97 % over the expansion time: ln(0.97/0.03) twice
_TRUE_LEAF_DELAY_DAYS = 2.0
_FIRST_LEAF_PACE = 0.6  # expansion time of the first true leaf over that of full-sized ones
_COTYLEDON_DAYS = 7.0
_STEEPEST = 0.9  # rise over run drawn at most: steeper leaves lift their base instead
_HANGS_AT_MOST = 0.75


@dataclass(frozen=True)
class Node:
    """One leaf to come.

    Attributes
    ----------
    part : `cotyledon` or `leaf`.
    number : 0, 1 for cotyledons, then 2, 3, … for leaves; seeds the leaf's own randomness.
    azimuth_rad, birth_das, full_mm : direction, day it shows, full length with stalk.
    days : time it takes to nearly full size.
    level : internodes between the cotyledons and this leaf.
    """

    part: str
    number: int
    azimuth_rad: float
    birth_das: float
    full_mm: float
    days: float
    level: int


@dataclass(frozen=True)
class Stance:
    """How a leaf stands: length as seen from above over true length, height of its base, rise and droop (see
    `Relief`)."""

    seen_share: float
    lift_mm: float
    rise: float
    droop: float


def size_share(age_days: float, expansion_days: float) -> float:
    """Share of full length at an age: logistic, 0 at birth and nearly 1 after the expansion time."""
    if age_days <= 0.0:
        return 0.0
    at_birth = 1.0 / (1.0 + math.exp(0.5 * _STEEPNESS))
    now = 1.0 / (1.0 + math.exp(-_STEEPNESS * (age_days / expansion_days - 0.5)))
    return (now - at_birth) / (1.0 - at_birth)


def nodes(habit: Habit, *, azimuth_rad: float, delay_days: float, rng: np.random.Generator) -> list[Node]:
    """All leaves a seedling will ever have; the draws do not depend on its age."""
    turn, pace, size = rng.normal(0.0, 1.0, (3, habit.leaves + 2))
    emergence = habit.emergence_das + delay_days
    found = []
    if habit.arrangement != "grass":
        for k in range(2):
            length = habit.cotyledon_mm * math.exp(0.06 * size[k])
            angle = azimuth_rad + k * math.pi + 0.12 * turn[k]
            found.append(Node("cotyledon", k, angle, emergence + 0.15 * abs(pace[k]), length, _COTYLEDON_DAYS, 0))
    jitter = zip(turn[2:], pace[2:], size[2:], strict=True)
    return found + [_leaf_node(habit, i, azimuth_rad, emergence, own) for i, own in enumerate(jitter)]


def stance(true_mm: float, *, elevation_rad: float, droop: float) -> Stance:
    """Lay a leaf of given length and elevation at its base into a height field of limited slope."""
    rise = math.tan(min(max(elevation_rad, -0.3), 1.35))
    drawn = min(rise, _STEEPEST)
    hang = min(droop, 0.5 * (_HANGS_AT_MOST + drawn))
    seen = 1.0 / math.sqrt(1.0 + (rise - hang) ** 2)
    return Stance(seen, 0.7 * (rise - drawn) * seen * true_mm, drawn, hang)


def _leaf_node(habit: Habit, i: int, azimuth_rad: float, emergence: float, jitter: tuple[float, float, float]) -> Node:
    turn, pace, size = jitter
    if habit.arrangement == "spiral":
        level, angle = i, azimuth_rad + 0.5 * math.pi + i * GOLDEN_ANGLE_RAD + 0.14 * turn
    elif habit.arrangement == "grass":
        level, angle = i, azimuth_rad + i * math.pi + 0.5 * turn
    else:
        level = i // 2
        angle = azimuth_rad + 0.5 * math.pi * (level + 1) + (i % 2) * math.pi + 0.1 * turn
    climb = min(habit.first_share + (1.0 - habit.first_share) * level / max(habit.climb, 1.0), 1.0)
    born = emergence + (0.0 if habit.arrangement == "grass" else _TRUE_LEAF_DELAY_DAYS)
    born += habit.leaf_every_days * (level + 0.18 * pace)
    days = habit.expansion_days * (
        _FIRST_LEAF_PACE + (1.0 - _FIRST_LEAF_PACE) * min(level / max(habit.climb, 1.0), 1.0)
    )
    return Node("leaf", i + 2, angle, born, habit.leaf_mm * climb * math.exp(0.07 * size), days, level)
