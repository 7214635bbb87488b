"""From criteria and gates to a decision for every cell, and for the tray as a whole."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.readiness.criteria import criteria_table, damage_fraction, no_criteria, score_criteria
from canopy.readiness.findings import Finding, emptiness_findings, gate_findings, score_findings
from canopy.readiness.gates import cell_gates, days_after_sowing, waiting_after_treatment
from canopy.reasons import REASONS
from canopy.records.recipe import CropRecipe
from canopy.records.text import TEXT_TYPE
from canopy.records.tray import Treatment
from canopy.settings.readiness import ReadinessSettings

BoolArray = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

_DEAD = re.compile(r"\bdead\b")
_NUMBER_COLUMNS = ("readiness", "readiness_low", "readiness_high")


@dataclass(frozen=True)
class ScoredCells:
    """The result of the readiness step.

    Attributes
    ----------
    cells : pandas.DataFrame
        The measured cells with `das, readiness, readiness_low, readiness_high, decision, limiting, reason` filled in.
    criteria : pandas.DataFrame
        One row per planted cell and criterion (columns `criteria.CRITERIA_COLUMNS`); no rows without a recipe.
    """

    cells: pd.DataFrame
    criteria: pd.DataFrame


def score_cells(
    cells: pd.DataFrame,
    recipe: CropRecipe | None,
    *,
    taken_at: datetime | None,
    sown_on: date | None,
    treatments: Sequence[Treatment] = (),
    colour_withheld: bool = False,
    settings: ReadinessSettings,
) -> ScoredCells:
    """Score and decide every cell of one tray.

    Parameters
    ----------
    cells : pandas.DataFrame
        One row per cell with at least `cell, state, area_mm2, area_low_mm2, area_high_mm2, cover, yellow_fraction,
        brown_fraction` and the colour index of the recipe. A `reason` that is there already is kept in front. To be
        inspected whatever they score: cells of missing state (not shown by the photo), those whose reason speaks of a
        dead plant or is a code of `canopy.reasons` that blocks, and those True in an optional column `doubtful`. The
        table is not changed.
    recipe : CropRecipe or None
        None: scored on nothing; readiness fields and decision stay missing.
    taken_at, sown_on : datetime, date, or None
        For days after sowing; None where unknown.
    treatments : sequence of Treatment
        Treatments with a waiting time.
    colour_withheld : bool
        True: the light allows no judgement of colour.

    Raises
    ------
    PhotoError
        `sown_in_future`.
    """
    tray = str(cells["tray"].iloc[0]) if "tray" in cells and len(cells) else "tray"
    das = days_after_sowing(sown_on, taken_at, tray=tray)
    if recipe is None:
        return ScoredCells(_filled(cells, das=das, reason=_reasons(cells, [])), no_criteria())
    planted = cells["state"].eq("planted").fillna(False).to_numpy(dtype=bool)
    scored = score_criteria(cells, recipe, das=das, colour_withheld=colour_withheld, settings=settings)
    gates = cell_gates(
        recipe,
        das=np.full(len(cells), np.nan if das is None else float(das)),
        area_mm2=cells["area_mm2"].to_numpy(dtype=float),
        damage_fraction=damage_fraction(cells, colour_withheld=colour_withheld),
        waiting=waiting_after_treatment(treatments, taken_at),
    )
    findings = [
        *gate_findings(scored, gates, recipe, planted=planted, settings=settings),
        *score_findings(scored, planted=planted, barred=gates.barred, settings=settings),
        # A mat's tiles are parts of one stand: a thin one is no empty cell.
        *(emptiness_findings(cells, planted=planted, settings=settings) if recipe.stage != "mat" else ()),
    ]
    reason = _reasons(cells, findings)
    came_doubtful = Finding(_doubtful(cells), "inspect", lambda _: "")  # its words came with the cell
    decision = _decide(
        planted,
        [*findings, came_doubtful],
        passes=scored.score >= settings.ready_score,
        ready_decision=recipe.ready_decision,
    )
    limiting = [scored.names[k] if k >= 0 and p else None for k, p in zip(scored.limiting(), planted, strict=True)]
    numbers = tuple(np.where(planted, x, np.nan) for x in (scored.score, scored.score_low, scored.score_high))
    return ScoredCells(
        _filled(cells, das=das, numbers=numbers, decision=decision, limiting=limiting, reason=reason),
        criteria_table(cells, scored, planted=planted),
    )


def decide_tray(
    scored: ScoredCells, recipe: CropRecipe | None, *, settings: ReadinessSettings
) -> dict[str, int | str | None]:
    """Sum a tray up.

    Returns
    -------
    dict
        `ready` (number of cells offered), `ready_on` (always missing here: one photo tells no date honestly, a history
        does) and `decision`: the recipe's word when at least `tray_ready_share` of the planted cells are offered,
        `inspect` when at least `tray_inspect_share` are to be inspected, `empty` when nothing is planted, else
        `wait`. All None without a recipe.
    """
    if recipe is None:
        return {"ready": None, "ready_on": None, "decision": None}
    decisions = scored.cells["decision"]
    planted = int((scored.cells["state"] == "planted").sum())
    ready = int((decisions == recipe.ready_decision).sum())
    inspect = int((decisions == "inspect").sum())
    decision = "wait"
    if planted == 0:
        decision = "empty"
    elif ready >= settings.tray_ready_share * planted:
        decision = recipe.ready_decision
    elif inspect >= settings.tray_inspect_share * planted:
        decision = "inspect"
    return {"ready": ready, "ready_on": None, "decision": decision}


def _decide(planted: BoolArray, findings: list[Finding], *, passes: BoolArray, ready_decision: str) -> list[str]:
    """Decision of each cell; a finding that asks for a look comes before one that blocks: neither is offered."""
    blocked, look = np.zeros(len(planted), dtype=bool), np.zeros(len(planted), dtype=bool)
    for finding in findings:
        if finding.effect == "block":
            blocked |= finding.cells
        elif finding.effect == "inspect":
            look |= finding.cells
    words = np.where(planted & passes & ~blocked, ready_decision, np.where(planted, "wait", "empty"))
    return [str(word) for word in np.where(look, "inspect", words)]


def _doubtful(cells: pd.DataFrame) -> BoolArray:
    """(N,) cells that came with a doubt: not shown, `doubtful`, a blocking reason, or a dead plant."""
    flagged = np.array(cells["state"].isna(), dtype=bool)
    if "doubtful" in cells:
        flagged |= cells["doubtful"].fillna(False).to_numpy(dtype=bool)
    if "reason" in cells:
        flagged |= np.array([_asks_for_a_look(text) for text in cells["reason"]], dtype=bool)
    return flagged


def _asks_for_a_look(reason: object) -> bool:
    if not isinstance(reason, str):
        return False
    code = reason.split(":")[0].strip()
    return (code in REASONS and REASONS[code].blocks) or _DEAD.search(reason) is not None


def _reasons(cells: pd.DataFrame, findings: list[Finding]) -> list[str | None]:
    """What came with each cell, then the words of its findings in order, joined by `; `; None where nothing is said."""
    came = cells["reason"] if "reason" in cells else [None] * len(cells)
    said: list[list[str]] = [[text] if isinstance(text, str) and text else [] for text in came]
    for finding in findings:
        for i in np.flatnonzero(finding.cells):
            said[i].append(finding.words(int(i)))
    return ["; ".join(texts) or None for texts in said]


def _filled(
    cells: pd.DataFrame,
    *,
    das: int | None,
    numbers: tuple[FloatArray, ...] | None = None,
    decision: list[str] | None = None,
    limiting: list[str | None] | None = None,
    reason: list[str | None],
) -> pd.DataFrame:
    """A copy of the cells with the readiness columns written; what is not given is missing."""
    filled, missing = cells.copy(), [None] * len(cells)
    filled["das"] = pd.array([das] * len(cells), dtype="Int64")
    for k, name in enumerate(_NUMBER_COLUMNS):
        filled[name] = numbers[k] if numbers is not None else np.full(len(cells), np.nan)
    for name, texts in (("decision", decision), ("limiting", limiting), ("reason", reason)):
        filled[name] = pd.array(missing if texts is None else texts, dtype=TEXT_TYPE)
    return filled
