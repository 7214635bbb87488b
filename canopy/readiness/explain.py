"""The score as a line anyone can recompute, and the whole way to a decision step by step.

Rounding: numbers are printed with as many decimals as it takes (two at least) for the printed numbers to give the
printed result again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from canopy.readiness.desirability import limiting_index
from canopy.readiness.findings import withheld_words
from canopy.readiness.gates import waiting_after_treatment
from canopy.records.recipe import Criterion, CropRecipe, NamedCriterion
from canopy.records.tray import Treatment
from canopy.settings.readiness import ReadinessSettings

_FEWEST_DECIMALS = 2
_MOST_DECIMALS = 8


def score_line(criteria_of_cell: pd.DataFrame) -> str:
    """The score of one cell in one line.

    Parameters
    ----------
    criteria_of_cell : pandas.DataFrame
        The cell's rows of the criteria table: `criterion, desirability, weight` and, optionally, `withheld`.

    Returns
    -------
    str
        `89 = 100 · size 0.95^.40 · colour 0.90^.20 · age 0.70^.20 · health 1.00^.20 — held back by age`. Whoever
        multiplies the printed numbers gets the printed score to the unit. `no score: age missing` where a criterion
        is missing; `no plant` for no rows.
    """
    if criteria_of_cell.empty:
        return "no plant, no score"
    names, d, w = _numbers(criteria_of_cell)
    missing = [name for name, di, wi in zip(names, d, w, strict=True) if wi > 0 and math.isnan(di)]
    if missing or sum(w) <= 0:
        return f"no score: {' and '.join(missing or names)} missing"
    used = [i for i, wi in enumerate(w) if wi > 0]
    held = int(limiting_index(d, w, names))
    left_out = [name for i, name in enumerate(names) if i not in used]
    line = _product([names[i] for i in used], [d[i] for i in used], [w[i] for i in used], decimals=0)
    if held >= 0:
        line += f" — held back by {names[held]}"
    return line + (f"; {withheld_words(left_out)}" if left_out else "")


def explain_cell(
    cell: Mapping[Any, Any] | pd.Series,
    criteria_of_cell: pd.DataFrame,
    recipe: CropRecipe,
    *,
    treatments: Sequence[Treatment] = (),
    taken_at: datetime | None = None,
    settings: ReadinessSettings,
) -> list[str]:
    """The way to one cell's score and decision, so that it can be redone with a pocket calculator.

    Parameters
    ----------
    cell : mapping
        The cell's row of the scored cell table.
    criteria_of_cell : pandas.DataFrame
        The cell's rows of the criteria table.
    recipe : CropRecipe
    treatments, taken_at
        As given to `score_cells`.

    Returns
    -------
    list of str
        Lines: head, one block per criterion (value, limits, formula with numbers), weights, product, what lifting each
        criterion would bring, range, gates, decision.
    """
    lines = [_head(cell, recipe)]
    if criteria_of_cell.empty:
        lines.append(f"No living plant in this cell: nothing to score. Decision: {_text(cell, 'decision')}.")
        return lines + _why(cell)
    rows = {row["criterion"]: row for row in criteria_of_cell.to_dict("records")}
    for named in recipe.criteria:
        lines += _criterion_lines(named, rows[named.name])
    lines += _score_lines(cell, criteria_of_cell)
    lines += _range_lines(cell, criteria_of_cell, settings)
    lines += _gate_lines(cell, recipe, waiting_after_treatment(treatments, taken_at))
    score = float(cell["readiness"])
    told = "missing" if math.isnan(score) else f"{score:.6g}"
    lines.append(f"Decision: {_text(cell, 'decision')} (score {told}, offered from {settings.ready_score:g}).")
    return [*lines, *_why(cell), *(f"Caution: {text}" for text in recipe.cautions)]


def _head(cell: Mapping[Any, Any] | pd.Series, recipe: CropRecipe) -> str:
    das = cell["das"]
    age = "age unknown" if pd.isna(das) else f"{int(das)} days after sowing"
    return f"Cell {cell['cell']}: {recipe.title or recipe.crop} ({recipe.crop}, {recipe.stage}), {age}"


def _criterion_lines(named: NamedCriterion, row: Mapping[Any, Any]) -> list[str]:
    """Value with its range, limits, and the desirability's formula with the numbers put in."""
    c, unit = named.criterion, f" {named.unit}" if named.unit else ""
    value, d = float(row["value"]), float(row["desirability"])
    head = f"{named.name} ({named.measure}): "
    if math.isnan(value):
        fate = "weight shared out among the others" if row["withheld"] else "without it there is no score"
        return [head + f"not judged; {fate}", f"  source: {c.source}"]
    low, high = float(row["value_low"]), float(row["value_high"])
    spread = "" if math.isnan(low) or low == high else f" (range {_six(low)} to {_six(high)}{unit})"
    return [
        head + f"{_six(value)}{unit}{spread}; {_limits(c)}",
        f"  d = {_formula(c, value)} = {d:.4f}",
        f"  source: {c.source}",
    ]


def _limits(c: Criterion) -> str:
    """What the criterion asks for, in words."""
    if c.better == "larger":
        return f"larger is best: 0 at {_six(c.low)}, 1 from {_six(c.target)}"
    if c.better == "smaller":
        return f"smaller is best: 1 up to {_six(c.target)}, 0 from {_six(c.high)}"
    best = _six(c.target) if c.target_end == c.target else f"{_six(c.target)} to {_six(c.target_end)}"
    return f"target is best: 0 at {_six(c.low)}, 1 at {best}, 0 from {_six(c.high)}"


def _formula(c: Criterion, value: float) -> str:
    """The desirability's sum with its numbers; `1 (at the target)` and `0 (outside)` need none."""
    y = _six(value)
    if (c.low is not None and value <= c.low) or (c.high is not None and value >= c.high):
        return "0 (outside the limits)"
    if c.better != "smaller" and value < c.target and c.low is not None:
        return f"(({y} − {_six(c.low)}) / ({_six(c.target)} − {_six(c.low)}))^{c.low_exponent:g}"
    if c.better != "larger" and value > c.target_end and c.high is not None:
        return f"(({_six(c.high)} − {y}) / ({_six(c.high)} − {_six(c.target_end)}))^{c.high_exponent:g}"
    return "1 (at the target)"


def _score_lines(cell: Mapping[Any, Any] | pd.Series, criteria_of_cell: pd.DataFrame) -> list[str]:
    """Weights, the product, and what the score would be if each criterion in turn were 1."""
    names, d, w = _numbers(criteria_of_cell)
    score = float(cell["readiness"])
    lines = ["Weights (shares of the score): " + ", ".join(f"{n} {x:.4f}" for n, x in zip(names, w, strict=True))]
    if math.isnan(score):
        return [*lines, score_line(criteria_of_cell)]
    used = [i for i, x in enumerate(w) if x > 0]
    product = _product([names[i] for i in used], [d[i] for i in used], [w[i] for i in used], decimals=1)
    lines.append(f"Score: {product}")
    lines.append(f"In one line: {score_line(criteria_of_cell)}")
    lifted = []
    for i in used:
        others = [1.0 if j == i else d[j] for j in range(len(d))]
        lifted.append(f"{names[i]} {_score_of(others, w):.1f}")
    lines.append("Score if one criterion were 1: " + ", ".join(lifted) + "; the greatest gain is what holds it back")
    return lines


def _range_lines(
    cell: Mapping[Any, Any] | pd.Series, criteria_of_cell: pd.DataFrame, settings: ReadinessSettings
) -> list[str]:
    """How the range came about: each criterion alone at its worst and best, gaps added in squares."""
    low, high = float(cell["readiness_low"]), float(cell["readiness_high"])
    score = float(cell["readiness"])
    if math.isnan(score):
        return []
    if math.isnan(low) or math.isnan(high):
        return ["Range: unknown, the area's own range is missing"]
    names, d, w = _numbers(criteria_of_cell)
    ends = {e: criteria_of_cell[f"desirability_{e}"].to_numpy(dtype=float) for e in ("low", "high")}
    lines = [f"Range ({settings.range_factor:g} standard uncertainties; each criterion alone at its ends):"]
    for i, name in enumerate(names):
        if w[i] > 0 and ends["low"][i] != ends["high"][i]:
            worst, best = (_score_of([ends[e][i] if j == i else d[j] for j in range(len(d))], w) for e in ends)
            lines.append(
                f"  {name}: d {ends['low'][i]:.4f} to {ends['high'][i]:.4f} moves the score by "
                f"{worst - score:+.2f} to {best - score:+.2f}"
            )
    lines.append(f"  added in squares, kept within 0 to 100: {low:.1f} to {high:.1f}")
    return lines


def _gate_lines(cell: Mapping[Any, Any] | pd.Series, recipe: CropRecipe, waiting: str | None) -> list[str]:
    """Each gate with what it was held against."""
    gates, das = recipe.gates, cell["das"]
    days = "unknown" if pd.isna(das) else str(int(das))
    yellow, brown = float(cell["yellow_fraction"]), float(cell["brown_fraction"])
    lines = [f"Gates ({gates.source}):", f"  days after sowing {days}, minimum {gates.minimum_das}"]
    if gates.minimum_area_mm2 is not None:
        lines.append(f"  area {_six(float(cell['area_mm2']))} mm², minimum {_six(gates.minimum_area_mm2)} mm²")
    if recipe.age is not None and recipe.age.high is not None:
        lines.append(f"  last day {_six(recipe.age.high)}")
    damage = "unknown" if math.isnan(yellow + brown) else f"{_six(yellow)} + {_six(brown)} = {_six(yellow + brown)}"
    lines.append(f"  yellow + brown: {damage}, limit {_six(gates.damage_limit)}")
    lines.append(f"  {waiting or 'no waiting time after a treatment on record'}")
    return lines


def _why(cell: Mapping[Any, Any] | pd.Series) -> list[str]:
    text = _text(cell, "reason")
    return [f"Because: {text}."] if text != "missing" else []


def _product(names: list[str], d: list[float], w: list[float], *, decimals: int) -> str:
    """`89 = 100 · size 0.95^.40 · …`, with the fewest decimals from which the left side follows."""
    printed = f"{_score_of(d, w):.{decimals}f}"
    terms = ""
    for digits in range(_FEWEST_DECIMALS, _MOST_DECIMALS + 1):
        shown_d, shown_w = [f"{x:.{digits}f}" for x in d], [f"{x:.{digits}f}" for x in w]
        terms = " · ".join(f"{n} {x}^{y.removeprefix('0')}" for n, x, y in zip(names, shown_d, shown_w, strict=True))
        again = 100.0 * math.prod(float(x) ** float(y) for x, y in zip(shown_d, shown_w, strict=True))
        if f"{again:.{decimals}f}" == printed:
            break
    return f"{printed} = 100 · {terms}"


def _score_of(d: list[float], w: list[float]) -> float:
    """Score 0..100 of desirabilities and shares; a criterion without a share takes no part."""
    return 100.0 * math.prod(float(di**wi) for di, wi in zip(d, w, strict=True) if wi > 0)


def _numbers(criteria_of_cell: pd.DataFrame) -> tuple[list[str], list[float], list[float]]:
    names = [str(name) for name in criteria_of_cell["criterion"]]
    d = criteria_of_cell["desirability"].to_numpy(dtype=float)
    w = criteria_of_cell["weight"].to_numpy(dtype=float)
    return names, d.tolist(), (w / w.sum() if w.sum() > 0 else np.zeros_like(w)).tolist()


def _text(cell: Mapping[Any, Any] | pd.Series, name: str) -> str:
    value = cell[name]
    return value if isinstance(value, str) and value else "missing"


def _six(value: float | None) -> str:
    """Six significant digits: enough that a desirability redone from them agrees to its fourth decimal."""
    return "none" if value is None else f"{value:.6g}"
