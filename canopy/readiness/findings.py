"""What speaks against offering a cell, or should be said of it: each finding with its effect and its words."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.readiness.criteria import Scored
from canopy.readiness.gates import CellGates
from canopy.records.recipe import CropRecipe
from canopy.settings.readiness import ReadinessSettings

BoolArray = NDArray[np.bool_]

_MISSING_HINT = {
    "age": "age missing, no sowing date or no photo date",
    "size": "size missing",
    "cover": "cover missing",
    "colour": "colour could not be judged",
    "health": "damage could not be judged",
}


@dataclass(frozen=True)
class Finding:
    """One finding on the cells of a tray.

    Attributes
    ----------
    cells : (N,) bool ndarray
        The cells it holds for.
    effect : str
        `block`: not offered; `inspect`: a person must look; `remark`: only said.
    words : callable
        Cell position to text.
    """

    cells: BoolArray
    effect: Literal["block", "inspect", "remark"]
    words: Callable[[int], str]


def gate_findings(
    scored: Scored, gates: CellGates, recipe: CropRecipe, *, planted: BoolArray, settings: ReadinessSettings
) -> Iterator[Finding]:
    """Findings of the gates; those that only repeat what a low score says already are left out."""
    passes = planted & (scored.score >= settings.ready_score)
    limits = recipe.gates
    if gates.waiting is not None:
        waiting = gates.waiting
        yield Finding(planted, "block", lambda _: waiting)
    yield Finding(
        planted & gates.damaged,
        "inspect",
        lambda i: f"damage: {percent(gates.damage_fraction[i])} yellow or brown, limit {percent(limits.damage_limit)}",
    )
    yield Finding(
        passes & gates.too_young,
        "block",
        lambda i: f"too young: {_number(gates.das[i])} days after sowing, minimum {limits.minimum_das}",
    )
    yield Finding(
        passes & gates.too_small,
        "block",
        lambda i: f"too small: {_number(gates.area_mm2[i])} mm², minimum {_number(limits.minimum_area_mm2)} mm²",
    )
    last_day = recipe.age.high if recipe.age is not None else None
    yield Finding(
        planted & gates.too_old,
        "inspect",
        lambda i: f"too old: {_number(gates.das[i])} days after sowing, last day {_number(last_day)}",
    )
    if recipe.measured:
        wanted = _joined([one.name for one in recipe.measured])
        yield Finding(
            passes & ~gates.barred, "inspect", lambda _: f"{wanted} measured by hand also count: see `canopy ready`"
        )
    yield Finding(
        passes & gates.damage_unknown & ~gates.barred,
        "remark" if settings.ready_without_colour else "inspect",
        lambda _: "colour, and so damage, could not be judged: look at the plants first",
    )


def score_findings(
    scored: Scored, *, planted: BoolArray, barred: BoolArray, settings: ReadinessSettings
) -> Iterator[Finding]:
    """Findings of the score itself: missing, withheld, cannot rise, range across the threshold, held back.

    `barred` cells wait whatever their score is (see `CellGates.barred`): a wide range there is no reason to look.
    """
    threshold, names = settings.ready_score, scored.names
    limiting = scored.limiting()
    lost = np.isnan(scored.value) & ~scored.withheld
    yield Finding(
        planted & np.isnan(scored.score),
        "inspect",
        lambda i: "no score: " + _joined([_MISSING_HINT[n] for n, gone in zip(names, lost[i], strict=True) if gone]),
    )
    yield Finding(
        planted & scored.withheld.any(axis=1) & ~np.isnan(scored.score),
        "remark",
        lambda i: withheld_words([n for n, gone in zip(names, scored.withheld[i], strict=True) if gone]),
    )
    yield Finding(
        planted & (scored.score < threshold),
        "remark",
        lambda i: f"score {_floored(scored.score[i])} below {threshold:g}, held back by {names[limiting[i]]}",
    )
    yield Finding(
        planted & _cannot_rise(scored, limiting, threshold=threshold),
        "inspect",
        lambda i: f"{names[limiting[i]]} is past its target and waiting will not mend that",
    )
    under, over = threshold - scored.score_low, scored.score_high - threshold
    passes, fails = scored.score >= threshold, scored.score < threshold
    crosses = planted & ((passes & (under > 0)) | (fails & (over >= 0)))
    wide = (passes & (under > settings.ready_doubt_points)) | (fails & (over > settings.wait_doubt_points))
    wide &= ~barred
    yield Finding(crosses & ~wide, "remark", lambda i: _range_words(scored, i, threshold=threshold))
    yield Finding(
        crosses & wide, "inspect", lambda i: _range_words(scored, i, threshold=threshold) + ", too wide to decide"
    )


def emptiness_findings(cells: pd.DataFrame, *, planted: BoolArray, settings: ReadinessSettings) -> Iterator[Finding]:
    """Cells whose plant is far smaller and far less sure than the tray's others: medium may have been taken for leaf.

    On 30 drawn trays this held for 9 of 16 empty cells read as planted, and for 2 of 1846 plants
    (on the 10 of them that the bounds were not set on: 2 of 4, and none of 720).
    """
    area, low, high = (
        cells[name].to_numpy(dtype=float, na_value=np.nan) for name in ("area_mm2", "area_low_mm2", "area_high_mm2")
    )
    if "vouched" in cells:  # a person has seen the plant
        planted = planted & ~cells["vouched"].to_numpy(dtype=bool)
    known = planted & np.isfinite(area) & (low > 0)
    if not known.any():
        return
    spread = np.divide(high, low, out=np.full(len(area), np.inf), where=low > 0)
    small = area < settings.maybe_empty_share * np.median(area[known])
    unsure = spread >= settings.maybe_empty_range * np.median(spread[known])
    yield Finding(
        planted & small & unsure,
        "inspect",
        lambda i: (
            f"may be empty: {_number(area[i])} mm² ({_number(low[i])} to {_number(high[i])}), little and doubtful "
            "beside the others"
        ),
    )


def _cannot_rise(scored: Scored, limiting: NDArray[np.intp], *, threshold: float) -> BoolArray:
    """(N,) cells that would pass but for damage, or for a value past a target with an upper limit."""
    held = (scored.score < threshold) & (scored.score_if_one(limiting) >= threshold)
    stuck = np.zeros(len(held), dtype=bool)
    for k, named in enumerate(scored.criteria):
        # A colour for which smaller is best (redness) still improves with time; damage and two-sided limits do not.
        if named.name == "health" or named.criterion.better == "target":
            stuck |= (limiting == k) & (scored.value[:, k] > named.criterion.target_end)
    return held & stuck


def _range_words(scored: Scored, cell: int, *, threshold: float) -> str:
    return f"range {scored.score_low[cell]:.1f} to {scored.score_high[cell]:.1f} crosses {threshold:g}"


def withheld_words(names: list[str]) -> str:
    """`colour and health withheld, their weight shared out`."""
    return f"{_joined(names)} withheld, {'its' if len(names) == 1 else 'their'} weight shared out"


def percent(share: float) -> str:
    """A share as a percentage with one decimal, `12.3 %`."""
    return f"{100 * share:.1f} %"


def _joined(words: list[str]) -> str:
    return " and ".join(words)


def _number(value: float | None) -> str:
    return "unknown" if value is None or math.isnan(value) else f"{value:.6g}"


def _floored(score: float) -> str:
    """One decimal, rounded down, so that 79.96 does not read as the 80 that it has not reached."""
    return f"{math.floor(score * 10 + 1e-9) / 10:.1f}"
