"""Gates: rules that come after the score and only ever block a cell or send it to inspection."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from canopy.errors import PhotoError
from canopy.records.recipe import CropRecipe
from canopy.records.tray import Treatment

BoolArray = NDArray[np.bool_]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class CellGates:
    """What each gate says of each cell; all arrays have one entry per cell.

    Attributes
    ----------
    too_young : (N,) bool ndarray
        Days after sowing below the recipe's minimum, or unknown.
    too_small : (N,) bool ndarray
        Area below the recipe's minimum, or unknown where there is such a rule.
    too_old : (N,) bool ndarray
        Older than the last day of the recipe's age criterion: waiting will not help.
    damaged : (N,) bool ndarray
        Yellow plus brown above the damage limit.
    damage_unknown : (N,) bool ndarray
        Colour could not be judged, so neither could damage.
    waiting : str or None
        Why nothing of the tray may be offered yet after a treatment; None: no waiting time runs.
    das, area_mm2, damage_fraction : (N,) float ndarray
        What was held against the gates; NaN where unknown.
    """

    too_young: BoolArray
    too_small: BoolArray
    too_old: BoolArray
    damaged: BoolArray
    damage_unknown: BoolArray
    waiting: str | None
    das: FloatArray
    area_mm2: FloatArray
    damage_fraction: FloatArray

    @property
    def barred(self) -> BoolArray:
        """(N,) cells that wait whatever their score: too young, too small, or a waiting time runs."""
        return self.too_young | self.too_small | (self.waiting is not None)


def days_after_sowing(sown_on: date | None, taken_at: datetime | None, *, tray: str = "tray") -> int | None:
    """Days after sowing (DAS) on the day of the photo.

    Calendar days between the sowing date and the photo's own local date: a photo taken at 00:10 counts as the new day
    wherever the camera stood, since both dates are those on the wall of the greenhouse.

    Parameters
    ----------
    sown_on : date or None
    taken_at : datetime or None
        With or without offset; only its own year, month and day are used.
    tray : str
        For the message.

    Returns
    -------
    int or None
        0 on the day of sowing; None where a date is unknown.

    Raises
    ------
    PhotoError
        `sown_in_future`: the sowing date lies after the photo.
    """
    if sown_on is None or taken_at is None:
        return None
    days = (taken_at.date() - sown_on).days
    if days < 0:
        raise PhotoError(
            "sown_in_future",
            f"{tray}: `sown_on` {sown_on.isoformat()} lies after the photo ({taken_at.date().isoformat()}); "
            "correct `sown_on` or the camera's date",
        )
    return days


def waiting_after_treatment(treatments: Sequence[Treatment], taken_at: datetime | None) -> str | None:
    """Why nothing may be offered yet after a treatment, in words; None when no waiting time runs.

    The interval is counted in calendar days: applied on the 1st with 7 days, the first free day is the 8th. A
    treatment dated after the photo blocks as well, because the crop will be cut after the photo too; an unknown photo
    date blocks, because then nothing can be counted.
    """
    texts = []
    for treatment in treatments:
        if treatment.interval_days == 0:
            continue
        free_on = treatment.applied_on + timedelta(days=treatment.interval_days)
        left = None if taken_at is None else (free_on - taken_at.date()).days
        if left is None or left > 0:
            texts.append(_waiting_text(treatment, free_on, left))
    return "; ".join(texts) or None


def _waiting_text(treatment: Treatment, free_on: date, left: int | None) -> str:
    days = "days left unknown (photo without date)" if left is None else f"{left} day{'s' * (left != 1)} left"
    return (
        f"waiting time after {treatment.product} applied {treatment.applied_on.isoformat()}: {days}, "
        f"not before {free_on.isoformat()}; follow the product label"
    )


def cell_gates(
    recipe: CropRecipe, *, das: FloatArray, area_mm2: FloatArray, damage_fraction: FloatArray, waiting: str | None
) -> CellGates:
    """Hold every cell against the recipe's gates.

    Parameters
    ----------
    recipe : CropRecipe
    das, area_mm2, damage_fraction : (N,) float ndarray
        NaN where unknown. An unknown value never opens a gate.
    waiting : str or None
        From `waiting_after_treatment`.
    """
    gates = recipe.gates
    no = np.zeros(len(das), dtype=bool)
    last_day = recipe.age.high if recipe.age is not None else None
    return CellGates(
        too_young=~(das >= gates.minimum_das) if gates.minimum_das > 0 else no,
        too_small=~(area_mm2 >= gates.minimum_area_mm2) if gates.minimum_area_mm2 is not None else no,
        too_old=das >= last_day if last_day is not None else no,
        damaged=damage_fraction > gates.damage_limit,
        damage_unknown=np.isnan(damage_fraction),
        waiting=waiting,
        das=das,
        area_mm2=area_mm2,
        damage_fraction=damage_fraction,
    )
