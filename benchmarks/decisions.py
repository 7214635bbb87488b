"""What decisions are worth: crops drawn from a stated range, photographed with the stated errors, cut in four ways.

    OMP_NUM_THREADS=1 python -m benchmarks.decisions                   # 200 crops, about 10 minutes
    OMP_NUM_THREADS=1 python -m benchmarks.decisions --crops 4 --learn 20

A head is worth most between the size that was ordered and 15 % more, less on either side, and every day in the tray
from the first decision on costs. The four ways: (a) the whole tray on day N, (b) each plant once a photo shows it
larger than a fixed area, (c) each plant on the day that this tool expects to be its best, (d) each plant on its truly
best day. N and the area are the best for crops of the same range drawn besides (`--learn`): nobody does better by a
rule of thumb. The tool knows the order and its own defaults, nothing of the range.

Errors of area are those that README gives (median 4.6 %, one in ten above 30 %, bias +0.9 %): seven of ten readings
with a standard deviation of 4.5 %, three of ten with 30 %, each reading on its own, stated as its range; and an error
of 1 to 3 % that a photo's plants share.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchmarks.growth import KINDS, RANGES, _curve
from canopy.growth import forecast_tray, growth_curves
from canopy.plan.moment import best_days, expected_worth
from canopy.readiness.desirability import target_is_best
from canopy.readiness.recipes import recipe_for
from canopy.records import CropRecipe, Layout, TrayRecord
from canopy.records.recipe import Criterion
from canopy.settings import GrowthSettings

FloatArray = NDArray[np.float64]

FIRST_SEED, LEARN_SEED = 930_000, 960_000
ROWS, COLUMNS = 4, 6
ORDERED_MM2 = 32_000.0
WORTH = {"low": 0.5 * ORDERED_MM2, "target": ORDERED_MM2, "target_high": 1.15 * ORDERED_MM2, "high": 1.9 * ORDERED_MM2}
DAY_COST = 0.01
DAYS = np.arange(12.0, 90.0)
GROWTH = tuple(list(RANGES)[:6])
TROUBLES = {
    "crops with a dry row": 0.3,
    "growth of its plants": (0.70, 0.85),
    "late seeds, share": 0.08,
    "days late": (2.0, 6.0),
    "days between photos": (2, 4),
    "readings of large error, share": 0.3,
    "error of ln area, small and large": (0.045, 0.30),
    "error of ln area shared by a photo": (0.01, 0.03),
    "bias of area": 0.009,
}
_SOWN = date(2026, 3, 2)
_AHEAD = 15
"""Days that the tool looks ahead."""
_EARLY, _DECIDED = 0.05, 0.3
"""Photos start when the median plant has the first share of the ordered size, decisions when it has the second."""


@dataclass(frozen=True)
class Crop:
    """One tray: true area on each of `DAYS` (p, n), days of photos, what they show and how sure that is (p, k).

    `first` is the photo from which on it is decided.
    """

    area: FloatArray
    first: int
    photos: FloatArray
    seen: FloatArray
    sd: FloatArray

    @property
    def worth(self) -> FloatArray:
        """(p, n) worth of a plant cut on each day; before the first decision nothing is cut, or paid."""
        worth = target_is_best(self.area, **WORTH) - DAY_COST * (DAYS - DAYS[self.photos[self.first]])
        return np.where(np.arange(len(DAYS)) >= self.photos[self.first], worth, -np.inf)


def draw_crop(seed: int) -> Crop:
    """One crop of the stated range."""
    rng = np.random.default_rng(seed)
    kind = str(rng.choice(KINDS))
    middle, young, rate, size, speed, timing = (rng.uniform(*RANGES[name]) for name in GROWTH)
    curve = _curve(kind, young, rate, share=rng.uniform(0.02, 0.2), nu=rng.uniform(0.6, 1.6))
    plants = ROWS * COLUMNS
    late = rng.normal(0, timing, plants) + np.where(
        rng.random(plants) < TROUBLES["late seeds, share"], rng.uniform(*TROUBLES["days late"], plants), 0.0
    )
    clock = np.tile(DAYS, (plants, 1)) - middle - late[:, None]
    if rng.random() < TROUBLES["crops with a dry row"]:
        row, since = rng.integers(ROWS), rng.uniform(-15, 0)
        slow = rng.uniform(*TROUBLES["growth of its plants"])
        own = np.repeat(np.arange(ROWS), COLUMNS) == row
        clock = np.where(own[:, None] & (clock > since), since + slow * (clock - since), clock)
    pace = np.exp(rng.normal(0, speed, plants))[:, None]
    area = ORDERED_MM2 * np.exp(rng.normal(0, size, plants)[:, None] + curve(pace, clock))
    step = int(rng.integers(*TROUBLES["days between photos"], endpoint=True))
    start = int(np.argmax(np.median(area, axis=0) >= _EARLY * ORDERED_MM2))
    at = np.arange(start, len(DAYS), step)
    small, large = TROUBLES["error of ln area, small and large"]
    sd = np.where(rng.random((plants, len(at))) < TROUBLES["readings of large error, share"], large, small)
    shared = rng.normal(0, rng.uniform(*TROUBLES["error of ln area shared by a photo"]), len(at))
    ln = np.log(area[:, at]) + math.log1p(TROUBLES["bias of area"]) + sd * rng.standard_normal(sd.shape) + shared
    first = int(np.argmax(np.median(area[:, at], axis=0) >= _DECIDED * ORDERED_MM2))
    return Crop(area, first, at, np.exp(ln), sd)


def whole_tray(crop: Crop, day: int) -> float:
    """Mean worth when all is cut on one day of `DAYS`, or on the day of the first decision when that comes later."""
    return float(crop.worth[:, max(day, int(crop.photos[crop.first]))].mean())


def by_area(crop: Crop, threshold: float) -> float:
    """Mean worth when each plant is cut on the first photo that shows it above a threshold, else at the last photo."""
    shown = (crop.seen >= threshold) & (np.arange(len(crop.photos)) >= crop.first)
    first = np.where(shown.any(axis=1), np.argmax(shown, axis=1), len(crop.photos) - 1)
    return float(crop.worth[np.arange(len(first)), crop.photos[first]].mean())


def oracle(crop: Crop) -> float:
    """Mean worth when each plant is cut on its truly best day."""
    return float(crop.worth.max(axis=1).mean())


def order_recipe() -> CropRecipe:
    """A recipe that says what was ordered, and for the rest what is shipped."""
    shipped = recipe_for("butterhead", "finish")
    size = Criterion(better="target", weight=1.0, source="the order", **WORTH)
    gates = shipped.gates.model_copy(update={"minimum_das": 0, "minimum_area_mm2": None})
    return shipped.model_copy(update={"size": size, "colour": None, "health": None, "gates": gates})


def this_tool(crop: Crop, *, recipe: CropRecipe, settings: GrowthSettings) -> float:
    """Mean worth when each plant is cut on its best day by the forecasts from the photos so far."""
    size_only = recipe.model_copy(update={"age": None})
    layout = Layout(name="4x6", rows=ROWS, columns=COLUMNS, pitch_x_mm=200, pitch_y_mm=200, outline_width_mm=1250,
                    outline_height_mm=850)  # fmt: skip
    tray = TrayRecord(tray="drawn", layout=layout, sown_on=_SOWN)
    left, worth = np.arange(ROWS * COLUMNS), []
    cut_on = np.full(len(left), np.inf)
    names = np.array([f"P{i:02}" for i in left])
    for k in range(crop.first, len(crop.photos)):
        today = crop.photos[k]
        until = crop.photos[k + 1] if k + 1 < len(crop.photos) else len(DAYS)
        readings = _readings(crop, names, k, cut_on)
        curves = growth_curves(readings, recipe=recipe, settings=settings.curve)
        told = forecast_tray(
            curves, recipe=recipe, tray=tray, today=_SOWN + timedelta(days=int(DAYS[today])), settings=settings.forecast
        )
        ahead = DAYS[today] + np.arange(_AHEAD, dtype=float)
        best = today + best_days(expected_worth(told.course, recipe=size_only, das=ahead), day_cost=DAY_COST)[left]
        cut = best < until
        worth += crop.worth[left[cut], np.minimum(best[cut], len(DAYS) - 1)].tolist()
        cut_on[left[cut]] = DAYS[np.minimum(best[cut], len(DAYS) - 1)]
        left = left[~cut]
        if not len(left):
            break
    worth += crop.worth[left, -1].tolist()
    return float(np.mean(worth))


def _readings(crop: Crop, names: NDArray[np.str_], last: int, cut_on: FloatArray) -> pd.DataFrame:
    """All readings up to a photo; a plant that was cut is not seen any more."""
    at = crop.photos[: last + 1]
    gone = DAYS[at] > cut_on[:, None]
    seen, sd = np.where(gone, np.nan, crop.seen[:, : last + 1]), crop.sd[:, : last + 1]
    return pd.DataFrame(
        {
            "plant": np.repeat(names, len(at)),
            "das": np.tile(DAYS[at], len(names)),
            "area_mm2": seen.ravel(),
            "area_low_mm2": (seen * np.exp(-1.96 * sd)).ravel(),
            "area_high_mm2": (seen * np.exp(1.96 * sd)).ravel(),
        }
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--crops", type=int, default=200)
    parser.add_argument("--learn", type=int, default=200, help="crops that day N and the area are chosen on")
    parser.add_argument("--seed", type=int, default=FIRST_SEED)
    arguments = parser.parse_args()
    for name in GROWTH:
        print(f"{name}: {RANGES[name][0]:g} to {RANGES[name][1]:g}")
    for name, value in TROUBLES.items():
        print(f"{name}: {value}")
    known = [draw_crop(LEARN_SEED + i) for i in range(arguments.learn)]
    day = max(range(len(DAYS)), key=lambda d: np.mean([whole_tray(crop, d) for crop in known]))
    thresholds = ORDERED_MM2 * np.arange(0.8, 1.6, 0.02)
    threshold = float(max(thresholds, key=lambda t: np.mean([by_area(crop, t) for crop in known])))
    print(f"best day N: {DAYS[day]:.0f}, best fixed area: {threshold / 100:.0f} cm²")
    recipe, settings = order_recipe(), GrowthSettings()
    rows = []
    for number in range(arguments.crops):
        crop = draw_crop(arguments.seed + number)
        tool = this_tool(crop, recipe=recipe, settings=settings)
        rows.append((whole_tray(crop, day), by_area(crop, threshold), tool, oracle(crop)))
        if (number + 1) % _TOLD == 0 or number + 1 == arguments.crops:
            print_means(np.array(rows))


_TOLD = 20
"""Crops between two lines of what has come out so far."""


def print_means(rows: FloatArray) -> None:
    """Mean worth of the four ways over the crops so far, and what (c) gains on the others."""
    a, b, c, d = rows.mean(axis=0)
    print(f"{len(rows)} crops, mean worth of a plant: (a) {a:.4f}, (b) {b:.4f}, (c) {c:.4f}, (d) {d:.4f}")
    over = {name: 100 * (c / other - 1) for name, other in (("a", a), ("b", b), ("d", d))}
    print("(c) over " + ", ".join(f"({name}): {share:+.1f} %" for name, share in over.items()), flush=True)


if __name__ == "__main__":
    main()
