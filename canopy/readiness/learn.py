"""Past decisions and how they turned out in; weights and bounds that would have done better, and the evidence, out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit

from canopy.readiness.desirability import desirability, readiness_score
from canopy.records.recipe import Criterion, CropRecipe
from canopy.records.text import TEXT_TYPE, Dtypes
from canopy.settings.readiness import LearnSettings

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

CHANGE_DTYPES: Dtypes = {"criterion": TEXT_TYPE, "field": TEXT_TYPE, "before": "float64", "after": "float64"}
EVIDENCE_DTYPES: Dtypes = {
    "recipe": TEXT_TYPE, "error": "float64", "right_offered": "float64", "wrong_offered": "float64",
}  # fmt: skip
_DIGITS = 3
_LOWER, _UPPER = ("low", "target"), ("target_high", "high")


@dataclass(frozen=True)
class Proposal:
    """What outcomes say of a recipe.

    Attributes
    ----------
    recipe : CropRecipe
        With the proposed weights and bounds; the recipe as it was where nothing is proposed.
    changes : pandas.DataFrame
        `CHANGE_DTYPES`: weights as shares of the score.
    evidence : pandas.DataFrame
        `EVIDENCE_DTYPES`: the recipe before, the proposal on outcomes of trays that it was not learnt from
        (`after, other trays`), and on all (`after, all trays`). `error` is the mean squared distance of what the score
        foretells (see `foretold`) from 1 for right outcomes and 0 for others (Brier 1950, Mon. Weather Rev. 78:1); the
        other two are shares offered.
    better : bool
        Whether the error on other trays falls by more than the setting.
    said : str
    """

    recipe: CropRecipe
    changes: pd.DataFrame
    evidence: pd.DataFrame
    better: bool
    said: str


def propose(
    values: FloatArray,
    right: BoolArray,
    tray: NDArray[np.str_],
    *,
    recipe: CropRecipe,
    ready_score: float,
    settings: LearnSettings,
) -> Proposal:
    """Propose weights and bounds.

    Each weight and each side of each criterion's bounds may be multiplied by a factor; ln factors are drawn to 0 as if
    the recipe rested on some outcomes itself, so that few outcomes change little.

    Parameters
    ----------
    values : (n, K) float array
        What was measured when it was decided, in the order of `recipe.criteria`; NaN where missing.
    right : (n,) bool array
        True where the plant was cut at the right time; False where too early or too late.
    tray : (n,) str array
        Trays are held out whole: their plants share light, water and luck.
    recipe : CropRecipe
    ready_score : float
        Score from which a plant is offered.
    settings : LearnSettings

    Returns
    -------
    Proposal
    """
    names = np.unique(tray)
    known = np.isfinite(_scores(values, recipe))
    values, right, tray = values[known], right[known], tray[known]
    if len(right) < settings.least or len(names) < settings.least_trays or right.all() or not right.any():
        said = (
            f"{len(right)} usable outcomes of {len(names)} trays, {int(right.sum())} of them right: a proposal takes "
            f"{settings.least} of {settings.least_trays} trays, right ones and others"
        )
        return Proposal(recipe, _changes(recipe, recipe), _evidence([], right, ready_score, settings), False, said)
    before = _scores(values, recipe)
    held = np.full(len(right), np.nan)
    fold_of = {name: k % settings.folds for k, name in enumerate(names)}
    fold = np.array([fold_of[name] for name in tray])
    for k in np.unique(fold):
        learnt = _learn(values[fold != k], right[fold != k], recipe, ready_score, settings=settings)
        held[fold == k] = _scores(values[fold == k], learnt)
    new = _learn(values, right, recipe, ready_score, settings=settings)
    rows = [("before", before), ("after, other trays", held), ("after, all trays", _scores(values, new))]
    evidence = _evidence(rows, right, ready_score, settings)
    old, other = evidence["error"].iloc[0], evidence["error"].iloc[1]
    better = bool(other < old * (1 - settings.gain))
    said = f"error on trays it was not learnt from {other:.3f}, before {old:.3f}: " + (
        "the change is borne out" if better else "no better; keep the recipe as it is"
    )
    return Proposal(new if better else recipe, _changes(recipe, new), evidence, better, said)


def foretold(score: FloatArray, *, ready_score: float, settings: LearnSettings) -> FloatArray:
    """Probability of being right that a score speaks for, 0..1: a half where plants begin to be offered."""
    return np.asarray(expit((score - ready_score) / settings.soft_points))


def _learn(
    values: FloatArray, right: BoolArray, recipe: CropRecipe, ready_score: float, *, settings: LearnSettings
) -> CropRecipe:
    count = len(recipe.criteria)
    sd = np.repeat([settings.weight_sd, settings.bound_sd, settings.bound_sd], count)

    def cost(x: FloatArray) -> float:
        changed = _changed(recipe, x, rounded=False)
        if changed is None:
            return float(len(right))
        told = foretold(_scores(values, changed), ready_score=ready_score, settings=settings)
        error = ((told - right) ** 2).sum()
        # A normal law of the factors, in the unit of one outcome's squared error when nothing is known (a quarter).
        return float(error + 0.25 * settings.strength * ((x / sd) ** 2).sum() / 2)

    found = minimize(cost, np.zeros(3 * count), method="Powell", options={"maxiter": 4, "xtol": 1e-2, "ftol": 1e-3})
    best = found.x if found.fun < cost(np.zeros(3 * count)) else np.zeros(3 * count)
    return _changed(recipe, np.asarray(best, dtype=float), rounded=True) or recipe


def _changed(recipe: CropRecipe, x: FloatArray, *, rounded: bool) -> CropRecipe | None:
    """The recipe with factors exp(x): of weights, of lower bounds, of upper bounds; None where bounds would cross."""
    weight, lower, upper = np.exp(np.clip(x, -3, 3)).reshape(3, -1)
    blocks = {}
    for k, named in enumerate(recipe.criteria):
        c = named.criterion
        factors = {"weight": weight[k], **dict.fromkeys(_sides(c, _LOWER), lower[k])}
        factors |= dict.fromkeys(_sides(c, _UPPER), upper[k])
        fields = {name: getattr(c, name) * factor for name, factor in factors.items()}
        if rounded:
            fields = {name: float(f"{value:.{_DIGITS}g}") for name, value in fields.items()}
        changed = c.model_copy(update=fields)
        if not _in_order(changed):
            return None
        blocks[named.name] = changed
    return recipe.model_copy(update=blocks)


def _sides(c: Criterion, side: tuple[str, ...]) -> list[str]:
    """Bounds of one side that the criterion has; of smaller-is-best the target belongs to the upper one."""
    names = [name for name in side if getattr(c, name) is not None]
    if c.better == "smaller":
        return [] if side is _LOWER else ["target", *[name for name in names if name != "target"]]
    return names


def _in_order(c: Criterion) -> bool:
    """As the recipe's own check has it; indices of colour may be below 0, where a factor above 1 moves a bound down."""
    rises = c.low is None or c.low < c.target
    return rises and c.target <= c.target_end and (c.high is None or c.high > c.target_end)


def _scores(values: FloatArray, recipe: CropRecipe) -> FloatArray:
    """(n,) readiness 0..100; NaN where a criterion is missing that may not be withheld."""
    d = np.column_stack([desirability(values[:, k], named.criterion) for k, named in enumerate(recipe.criteria)])
    weight = np.array([named.criterion.weight for named in recipe.criteria])
    withheld = np.isnan(d) & np.array([named.criterion.may_be_withheld for named in recipe.criteria])
    return 100.0 * readiness_score(d, np.where(withheld, 0.0, weight))


def _evidence(
    rows: list[tuple[str, FloatArray]], right: BoolArray, ready_score: float, settings: LearnSettings
) -> pd.DataFrame:
    found = []
    for name, score in rows:
        error = (foretold(score, ready_score=ready_score, settings=settings) - right) ** 2
        offered = score >= ready_score
        found.append((name, float(error.mean()), float(offered[right].mean()), float(offered[~right].mean())))
    return pd.DataFrame(found, columns=list(EVIDENCE_DTYPES)).astype(EVIDENCE_DTYPES)


def _changes(old: CropRecipe, new: CropRecipe) -> pd.DataFrame:
    """Numbers that differ, weights as shares of the score."""
    totals = [sum(named.criterion.weight for named in recipe.criteria) for recipe in (old, new)]
    rows = []
    for a, b in zip(old.criteria, new.criteria, strict=True):
        for name in ("weight", "low", "target", "target_high", "high"):
            before, after = getattr(a.criterion, name), getattr(b.criterion, name)
            if before is None:
                continue
            if name == "weight":
                before, after = before / totals[0], after / totals[1]
            if abs(after - before) > 10.0**-_DIGITS * abs(before):
                rows.append((a.name, name, before, after))
    return pd.DataFrame(rows, columns=list(CHANGE_DTYPES)).astype(CHANGE_DTYPES)


def recipe_block(old: CropRecipe, new: CropRecipe) -> str:
    """The `[[crop]]` block for a settings file that makes the old recipe the new one."""
    lines = ["[[crop]]", f'crop = "{new.crop}"', f'stage = "{new.stage}"']
    for a, b in zip(old.criteria, new.criteria, strict=True):
        names = [n for n in ("weight", "low", "target", "target_high", "high")
                 if getattr(a.criterion, n) != getattr(b.criterion, n)]  # fmt: skip
        if names:
            lines += ["", f"[crop.{a.name}]", *(f"{n} = {getattr(b.criterion, n):g}" for n in names)]
            lines.append('source = "learnt from own outcomes by `canopy learn`"')
    return "\n".join(lines) + "\n"
