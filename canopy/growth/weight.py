"""Fresh weight from projected area: a power law per crop, learnt from weigh-ins, with ranges that hold.

ln W = ln a + b ln A (+ c · days after sowing where that helps). Ranges are split-conformal (Lei et al. 2018, J. Am.
Stat. Assoc. 113:1094): weigh-ins held back from the fit say how far it errs. Outside the weighed areas: no number.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from canopy.growth.weigh_ins import Weighed
from canopy.records import CropRecipe
from canopy.records.text import TEXT_TYPE, Dtypes
from canopy.settings.growth import WeightSettings

FloatArray = NDArray[np.float64]

WEIGHT_DTYPES: Dtypes = {
    "weight_g": "float64",
    "weight_low_g": "float64",
    "weight_high_g": "float64",
    "note": TEXT_TYPE,
}
_MM2_PER_CM2 = 100.0


@dataclass(frozen=True)
class WeightModel:
    """A crop's weight curve.

    Attributes
    ----------
    ln_a, exponent, per_day : float
        ln of grams at 1 mm² (on day 0), power of area, change of ln grams per day after sowing (0: age is not used).
    calibrated : bool
        False: the recipe's curve, nothing was weighed.
    mean_over_median : float
        Mean weight over the curve's, which is the median: exp(s²/2) of a log-normal law; for totals.
    off : float
        Greatest departure of ln weight of a plant at the stated level; NaN where too few were held back to say.
    tray_shift, tray_off : float
        Median departure of ln of whole trays from the sum of their plants, and its greatest at the stated level.
    from_mm2, to_mm2 : float
        Areas that were weighed.
    said : str
        What it rests on, in words.
    """

    ln_a: float
    exponent: float
    per_day: float
    calibrated: bool
    mean_over_median: float
    off: float
    tray_shift: float
    tray_off: float
    from_mm2: float
    to_mm2: float
    said: str


def conformal_rank(count: int, *, level: float) -> int | None:
    """Which of `count` held-back departures, smallest first, bounds the next one at a level: ⌈(n + 1) · level⌉.

    None where that is more than there are: no finite range can be promised.
    """
    rank = math.ceil((count + 1) * level - 1e-9)
    return rank if rank <= count else None


def learn_weight(weighed: Sequence[Weighed], *, recipe: CropRecipe, settings: WeightSettings) -> WeightModel | None:
    """Learn a crop's weight curve.

    Parameters
    ----------
    weighed : sequence of Weighed
        Weigh-ins of one crop, cultivar and stage: others have another curve.
    recipe : CropRecipe
        Gives the curve while nothing was weighed.
    settings : WeightSettings

    Returns
    -------
    WeightModel or None
        None when nothing was weighed and the recipe has no curve.
    """
    singles = [w for w in weighed if w.single]
    trays = [w for w in weighed if not w.single]
    if not singles and not trays:
        return _from_recipe(recipe)
    areas = np.concatenate([w.area_mm2 for w in weighed])
    fitted, held = _split(singles, settings=settings)
    if singles:
        curve, what = _fit_plants(fitted, settings=settings)
    else:
        curve, what = _fit_trays(_split(trays, settings=settings)[0], settings=settings)
    smear = _mean_over_median(_departures(fitted, curve))
    off = _bound(np.abs(_departures(held, curve)), settings=settings)
    shift, tray_off = _tray_departures(trays, curve, smear, fresh=bool(singles), settings=settings)
    said = _say(len(singles), len(trays), what, off, tray_off, settings=settings)
    low, high = float(areas.min()), float(areas.max())
    return WeightModel(*curve, True, smear, off, shift, tray_off, low, high, said)


def estimate_weights(model: WeightModel | None, area_mm2: ArrayLike, das: ArrayLike) -> pd.DataFrame:
    """Weight of single plants.

    Parameters
    ----------
    model : WeightModel or None
    area_mm2, das : (n,) array-like of float

    Returns
    -------
    pandas.DataFrame
        `WEIGHT_DTYPES`, n rows: grams with range, and a note. Outside the weighed areas, and without area or curve,
        there is no number; without enough held-back weigh-ins no range.
    """
    area, days = np.broadcast_arrays(np.asarray(area_mm2, dtype=float), np.asarray(das, dtype=float))
    none = np.full(len(area), np.nan)
    if model is None:
        columns = dict.fromkeys(("weight_g", "weight_low_g", "weight_high_g"), none)
        return pd.DataFrame({**columns, "note": "nothing was weighed and the recipe has no curve"}).astype(
            WEIGHT_DTYPES
        )
    known = np.isfinite(area) & (np.nan_to_num(area) > 0)
    inside = known & (area >= model.from_mm2) & (area <= model.to_mm2)
    curve = (model.ln_a, model.exponent, model.per_day)
    grams = np.where(inside, np.exp(_ln_weight(np.where(known, area, 1.0), np.nan_to_num(days), curve)), np.nan)
    outside = _outside_note(model)
    mark = "" if model.calibrated else "uncalibrated"
    notes = np.where(~known, "", np.where(inside, mark, outside))
    columns = {
        "weight_g": grams,
        "weight_low_g": grams * math.exp(-model.off),
        "weight_high_g": grams * math.exp(model.off),
        "note": notes,
    }
    return pd.DataFrame(columns).astype(WEIGHT_DTYPES)


def estimate_total(
    model: WeightModel | None, area_mm2: ArrayLike, *, das: float, settings: WeightSettings
) -> pd.DataFrame:
    """Weight of all plants of a tray together.

    Parameters
    ----------
    model : WeightModel or None
    area_mm2 : (n,) array-like of float
        Areas of the tray's plants; missing and 0 are no plants.
    das : float
    settings : WeightSettings

    Returns
    -------
    pandas.DataFrame
        One row of `WEIGHT_DTYPES`. The range comes from whole trays that were weighed, not from those of plants, whose
        errors partly cancel and partly do not; without such it is missing.
    """
    area = np.asarray(area_mm2, dtype=float)
    area = area[np.isfinite(area) & (np.nan_to_num(area) > 0)]
    if model is None or not len(area):
        note = "nothing was weighed and the recipe has no curve" if model is None else "no plants"
        return _row(math.nan, math.nan, note)
    outside = float(((area < model.from_mm2) | (area > model.to_mm2)).mean())
    if outside > settings.outside_share:
        return _row(math.nan, math.nan, f"{100 * outside:.0f} % of the plants are {_outside_note(model)}")
    curve = (model.ln_a, model.exponent, model.per_day)
    area = np.clip(area, model.from_mm2, model.to_mm2)
    total = model.mean_over_median * float(np.exp(_ln_weight(area, np.full(len(area), das), curve)).sum())
    notes = [] if model.calibrated else ["uncalibrated"]
    if model.calibrated and math.isnan(model.tray_off):
        notes.append("no range: too few whole trays were weighed")
    if outside:
        notes.append(f"{100 * outside:.0f} % of the plants reckoned at the end of the weighed areas")
    return _row(total * math.exp(model.tray_shift), model.tray_off, "; ".join(notes))


def expected_grams(model: WeightModel, area_mm2: FloatArray, das: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Mean weight of plants of these areas, for sums over many of them.

    Parameters
    ----------
    model : WeightModel
    area_mm2 : (..., n) float array
        Above 0.
    das : (..., n) or (n,) float array

    Returns
    -------
    grams : (..., n) float array
        Of an area outside the weighed ones: that of the nearest weighed area.
    inside : (..., n) bool array
        False there: such plants may be a small share of a sum, never its bulk.
    """
    curve = (model.ln_a, model.exponent, model.per_day)
    inside = (area_mm2 >= model.from_mm2) & (area_mm2 <= model.to_mm2)
    median = np.exp(_ln_weight(np.clip(area_mm2, model.from_mm2, model.to_mm2), das, curve))
    return model.mean_over_median * math.exp(model.tray_shift) * median, inside


Curve = tuple[float, float, float]


def _row(grams: float, off: float, note: str) -> pd.DataFrame:
    values = [grams, grams * math.exp(-off), grams * math.exp(off), note]
    return pd.DataFrame([values], columns=list(WEIGHT_DTYPES)).astype(WEIGHT_DTYPES)


def _outside_note(model: WeightModel) -> str:
    low, high = model.from_mm2 / _MM2_PER_CM2, model.to_mm2 / _MM2_PER_CM2
    what = "the weighed areas" if model.calibrated else "the areas of the recipe's curve"
    return f"outside {what}, {low:.3g} to {high:.3g} cm²: no number"


def _from_recipe(recipe: CropRecipe) -> WeightModel | None:
    if recipe.weight is None:
        return None
    w = recipe.weight
    ln_a = math.log(w.g_per_cm2) - w.exponent * math.log(_MM2_PER_CM2)
    said = f"uncalibrated: nothing was weighed; the recipe's curve ({w.source})"
    return WeightModel(ln_a, w.exponent, 0.0, False, 1.0, math.nan, 0.0, math.nan, w.from_mm2, w.to_mm2, said)


def _split(weighed: Sequence[Weighed], *, settings: WeightSettings) -> tuple[list[Weighed], list[Weighed]]:
    """Those to fit and those held back: whole trays by turns, or single weigh-ins by turns while trays are few."""
    order = sorted(weighed, key=lambda w: (w.tray, w.das, w.cell))
    names = sorted({w.tray for w in order})
    if len(names) >= settings.split_trays and all(w.single for w in order):
        side = [names.index(w.tray) % 2 for w in order]
    else:
        side = [i % 2 for i in range(len(order))]
    return [w for w, s in zip(order, side, strict=True) if not s], [w for w, s in zip(order, side, strict=True) if s]


def _ln_weight(area: FloatArray, das: FloatArray, curve: Curve) -> FloatArray:
    return np.asarray(curve[0] + curve[1] * np.log(area) + curve[2] * das)


def _fit_plants(fitted: Sequence[Weighed], *, settings: WeightSettings) -> tuple[Curve, str]:
    """Curve of single plants, as free as there are weigh-ins for."""
    x = np.log([w.area_mm2[0] for w in fitted])
    y = np.log([w.grams for w in fitted])
    das = np.array([w.das for w in fitted])
    # Held-back plants were weighed too: counts and span are those of all, twice the fitted half.
    free = 2 * len(x) >= settings.exponent_from and np.ptp(x) >= math.log(settings.exponent_span)
    if not free:
        return (float(np.median(y - settings.exponent * x)), settings.exponent, 0.0), "exponent taken as given"
    plain, bic = _robust_line(np.column_stack([np.ones_like(x), x]), y, settings=settings)
    if 2 * len(x) >= settings.age_from and np.ptp(das) > 0:
        aged, aged_bic = _robust_line(np.column_stack([np.ones_like(x), x, das]), y, settings=settings)
        if aged_bic < bic - settings.age_gain:
            return (float(aged[0]), float(aged[1]), float(aged[2])), f"exponent {aged[1]:.2f} and age fitted"
    return (float(plain[0]), float(plain[1]), 0.0), f"exponent {plain[1]:.2f} fitted"


def _fit_trays(fitted: Sequence[Weighed], *, settings: WeightSettings) -> tuple[Curve, str]:
    """Level of the curve from whole trays alone."""
    sums = np.array([np.log((w.area_mm2**settings.exponent).sum()) for w in fitted])
    ln_a = float(np.median(np.log([w.grams for w in fitted]) - sums))
    return (ln_a, settings.exponent, 0.0), "exponent taken as given, level from whole trays"


def _robust_line(x: FloatArray, y: FloatArray, *, settings: WeightSettings) -> tuple[FloatArray, float]:
    """Linear fit with Student's t deviations by renewed weights (Lange, Little & Taylor 1989), and its BIC."""
    dof = settings.tail_dof
    weight: FloatArray = np.ones(len(y))
    beta: FloatArray = np.zeros(x.shape[1])
    left, scale = y, 1.0
    for _ in range(50):
        root = np.sqrt(weight)
        beta = np.asarray(np.linalg.lstsq(x * root[:, None], y * root, rcond=None)[0], dtype=np.float64)
        left = y - x @ beta
        scale = max(float(np.sqrt((weight * left**2).mean())), 1e-12)
        weight = np.asarray((dof + 1) / (dof + (left / scale) ** 2), dtype=np.float64)
    cost = 2 * len(y) * math.log(scale) + (dof + 1) * float(np.log1p((left / scale) ** 2 / dof).sum())
    return beta, cost + x.shape[1] * math.log(len(y))


def _departures(weighed: Sequence[Weighed], curve: Curve) -> FloatArray:
    """ln of weight over the curve's, single plants."""
    singles = [w for w in weighed if w.single]
    area, das = np.array([w.area_mm2[0] for w in singles]), np.array([w.das for w in singles])
    return np.log([w.grams for w in singles]) - _ln_weight(area, das, curve) if singles else np.zeros(0)


def _mean_over_median(left: FloatArray) -> float:
    """exp(s²/2), s from the median absolute departure, so that a mistyped weight does not lift every total."""
    return math.exp((_MAD_TO_SD * float(np.median(np.abs(left)))) ** 2 / 2) if len(left) else 1.0


_MAD_TO_SD = 1.4826
"""Standard deviation of a normal law over its median absolute deviation."""


def _tray_departures(
    trays: Sequence[Weighed], curve: Curve, smear: float, *, fresh: bool, settings: WeightSettings
) -> tuple[float, float]:
    """Shift of whole trays and the bound of what is left, from the two halves of the weighed trays."""
    fitted, held = _split(trays, settings=settings)

    def left(side: Sequence[Weighed]) -> FloatArray:
        sums = [float(np.exp(_ln_weight(w.area_mm2, np.full(len(w.area_mm2), w.das), curve)).sum()) for w in side]
        return np.log([w.grams for w in side]) - np.log(np.array(sums) * smear) if side else np.zeros(0)

    shift = float(np.median(left(fitted))) if fresh and fitted else 0.0
    return shift, _bound(np.abs(left(held) - shift), settings=settings)


def _bound(departures: FloatArray, *, settings: WeightSettings) -> float:
    rank = conformal_rank(len(departures), level=settings.level)
    return float(np.sort(departures)[rank - 1]) if rank is not None else math.nan


def _say(singles: int, trays: int, what: str, off: float, tray_off: float, *, settings: WeightSettings) -> str:
    needed = 2 * next(n for n in range(1, 10_000) if conformal_rank(n, level=settings.level) is not None)
    text = f"{singles} plants and {trays} whole trays weighed; {what}"
    ranges = [name for name, bound in (("plants", off), ("whole trays", tray_off)) if math.isnan(bound)]
    return text + (f"; no range for {' and '.join(ranges)}: that takes about {needed} weigh-ins" if ranges else "")
