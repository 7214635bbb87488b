"""What ails a plant on a day."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Stress:
    """Strength of each trouble, 0 none … 1 severe.

    Attributes
    ----------
    chlorosis : old leaves turn yellow, at 1 nearly all of them.
    tip_burn : brown margins, most on the younger leaves.
    spots : brown spots.
    wilting : leaves droop, fold and lie down.
    stretch : pale, drawn-out stems and stalks from too little light.
    dead : dry and shrivelled.
    """

    chlorosis: float = 0.0
    tip_burn: float = 0.0
    spots: float = 0.0
    wilting: float = 0.0
    stretch: float = 0.0
    dead: bool = False
