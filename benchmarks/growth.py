"""Forecasts of drawn trays against their truth: how often within a day, and whether ranges hold.

    OMP_NUM_THREADS=1 python -m benchmarks.growth --trays 60           # forecasts
    OMP_NUM_THREADS=1 python -m benchmarks.growth --trays 0 --watch 25  # trouble seen early

Plants are drawn from the range below, not from what the tool expects: curves of four kinds, one of which (Richards
1959, J. Exp. Bot. 10:290) the tool does not know. Each tray is photographed until five days before its median plant
is truly ready; every figure is of plants that are ready 3.5 to 6.5 days after the last photo.

For trouble, seedling trays of 6 x 12 with 12 daily photos are drawn twice: as they are, to count false alarms, and with
one row growing 15 % slower from the fifth photo on.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import brentq

from canopy.growth import departures, forecast_tray, growth_curves, watch
from canopy.readiness.recipes import recipe_for
from canopy.records import Layout, TrayRecord
from canopy.settings import GrowthSettings

FloatArray = NDArray[np.float64]

FIRST_SEED = 900_000
KINDS = ("logistic", "gompertz", "expolinear", "richards")
RANGES = {
    "day of the target area": (28.0, 42.0),
    "relative growth rate when young, per day": (0.20, 0.34),
    "relative growth rate at the target area, per day": (0.06, 0.14),
    "spread of ln size between plants": (0.10, 0.30),
    "spread of ln rate between plants": (0.02, 0.08),
    "spread of timing between plants, days": (0.3, 1.5),
    "error of ln area of one reading": (0.03, 0.07),
    "error of ln area shared by a photo": (0.01, 0.03),
    "bad readings, share": (0.02, 0.02),
    "error of ln area of a bad reading": (0.6, 0.6),
    "share of the target area at the young rate (Gompertz)": (0.02, 0.2),
    "exponent (Richards)": (0.6, 1.6),
    "days between photos": (1, 3),
    "photos": (5, 8),
}
ROWS, COLUMNS = 6, 8
AHEAD = 5.0
NEAR = 1.5


@dataclass(frozen=True)
class Drawn:
    """One tray: kind, readings, true days of readiness, day of the last photo."""

    kind: str
    readings: pd.DataFrame
    ready: FloatArray
    last: float


def draw_tray(seed: int, *, area: float) -> Drawn:
    """One tray from the stated range."""
    rng = np.random.default_rng(seed)
    kind = str(rng.choice(KINDS))
    middle, young, rate, size, speed, timing, noise, shared = (
        rng.uniform(*limits) for limits in list(RANGES.values())[:8]
    )
    plants = ROWS * COLUMNS
    level = rng.normal(0, size, plants)[:, None]
    pace = np.exp(rng.normal(0, speed, plants))[:, None]
    late = rng.normal(0, timing, plants)[:, None]
    curve = _curve(
        kind,
        young,
        rate,
        share=rng.uniform(*RANGES["share of the target area at the young rate (Gompertz)"]),
        nu=rng.uniform(*RANGES["exponent (Richards)"]),
    )

    def ln_area(das: FloatArray) -> FloatArray:
        return np.log(area) + level + curve(pace, das[None, :] - middle - late)

    fine = np.arange(5.0, 120.0, 0.02)
    grown = ln_area(fine)
    ready = np.where(grown[:, -1] >= np.log(area), fine[np.argmax(grown >= np.log(area), axis=1)], np.inf)
    step, count = (rng.integers(*RANGES[name], endpoint=True) for name in ("days between photos", "photos"))
    days = float(np.median(ready)) - AHEAD - step * np.arange(count)[::-1]
    days = days[days >= 6.0]
    seen = ln_area(days) + rng.normal(0, noise, (plants, len(days))) + rng.normal(0, shared, len(days))
    bad = rng.random(seen.shape) < RANGES["bad readings, share"][0]
    seen += np.where(bad, rng.normal(0, RANGES["error of ln area of a bad reading"][0], seen.shape), 0.0)
    areas = np.exp(seen).ravel()
    readings = pd.DataFrame(
        {
            "plant": np.repeat([f"P{i:02d}" for i in range(plants)], len(days)),
            "das": np.tile(days, plants),
            "area_mm2": areas,
            "area_low_mm2": areas * np.exp(-0.1),
            "area_high_mm2": areas * np.exp(0.1),
        }
    )
    return Drawn(kind, readings, ready, float(days[-1]))


def _curve(
    kind: str, young: float, rate: float, *, share: float, nu: float
) -> Callable[[FloatArray, FloatArray], FloatArray]:
    """ln of area over target as a function of pace and days from the target's; 0 at day 0 for pace 1."""
    if kind == "gompertz":
        fall = (young - rate) / np.log(1 / share)
        return lambda pace, t: rate / fall * (1 - np.exp(-fall * pace * t))
    if kind == "expolinear":
        u = brentq(lambda v: 1 / (1 + np.exp(-v)) / np.logaddexp(0, v) - rate / young, -30, 60)
        return lambda pace, t: np.log(np.logaddexp(0, pace * young * t + u)) - np.log(np.logaddexp(0, u))
    nu = 1.0 if kind == "logistic" else nu
    grown = 1 - rate / young  # (A/K)^nu at the target
    odds = np.log(1 / grown - 1)
    return lambda pace, t: (-np.log(grown) - np.logaddexp(0, odds - nu * young * pace * t)) / nu


def score(drawn: Drawn, *, settings: GrowthSettings) -> dict[str, object]:
    """One tray's figures."""
    recipe = recipe_for("butterhead", "finish")
    recipe = recipe.model_copy(update={"gates": recipe.gates.model_copy(update={"minimum_das": 0})})
    layout = Layout(
        name="6x8", rows=ROWS, columns=COLUMNS, pitch_x_mm=200, pitch_y_mm=200, outline_width_mm=1700,
        outline_height_mm=1300,
    )  # fmt: skip
    sown = date(2026, 3, 2)
    tray = TrayRecord(tray="drawn", layout=layout, sown_on=sown)
    today = (pd.Timestamp(sown) + pd.Timedelta(days=int(drawn.last))).date()
    curves = growth_curves(drawn.readings, recipe=recipe, settings=settings.curve)
    told = forecast_tray(curves, recipe=recipe, tray=tray, today=today, settings=settings.forecast)
    near = np.abs(drawn.ready - drawn.last - AHEAD) <= NEAR
    error = np.minimum(told.plants["ready_das"].to_numpy(), 999.0) - np.minimum(drawn.ready, 999.0)
    inside = (told.plants["ready_low_das"] <= drawn.ready) & (drawn.ready <= told.plants["ready_high_das"])
    needed = np.sort(drawn.ready)[int(np.ceil(0.8 * len(drawn.ready))) - 1]
    row = told.tray.iloc[0]
    counts = np.array([(drawn.ready <= das + 0.5).sum() for das in told.daily["das"]])
    return {
        "kind": drawn.kind, "curve": curves.pooled.shape, "plants": int(near.sum()),
        "within": int((np.abs(error[near]) <= 1).sum()), "inside": int(inside[near].sum()),
        "bias": float(np.median(np.clip(error[near], -30, 30))),
        "tray_within": abs(row["ready_das"] - needed) <= 1 if np.isfinite(needed) else np.isinf(row["ready_das"]),
        "tray_inside": row["ready_low_das"] <= needed <= row["ready_high_das"],
        "count_inside": float(((told.daily["ready_low"] <= counts) & (counts <= told.daily["ready_high"])).mean()),
    }  # fmt: skip


def table(scores: pd.DataFrame) -> pd.DataFrame:
    """Shares by kind of curve and over all."""
    parts = [*scores.groupby("kind"), ("all", scores)]
    rows = [
        {
            "drawn": kind, "trays": len(s), "plants": s["plants"].sum(),
            "within 1 day %": 100 * s["within"].sum() / s["plants"].sum(),
            "range holds %": 100 * s["inside"].sum() / s["plants"].sum(), "bias days": s["bias"].median(),
            "tray within 1 day %": 100 * s["tray_within"].mean(), "tray range holds %": 100 * s["tray_inside"].mean(),
            "number range holds %": 100 * s["count_inside"].mean(),
        }
        for kind, s in parts
    ]  # fmt: skip
    return pd.DataFrame(rows)


SEEDLINGS = Layout(
    name="6x12", rows=6, columns=12, pitch_x_mm=43, pitch_y_mm=43, outline_width_mm=540, outline_height_mm=280
)  # fmt: skip
SLOWER = 0.15
ONSET = 10.0
DAILY = np.arange(6.0, 18.0)


def draw_seedlings(seed: int, *, slow_row: int | None) -> pd.DataFrame:
    """Daily readings of one tray; growth rates fall as plants grow."""
    rng = np.random.default_rng(seed)
    plants = SEEDLINGS.cells
    rate = rng.uniform(0.2, 0.3) * np.exp(rng.normal(0, 0.06, plants))
    level = np.log(60) + rng.normal(0, 0.25, plants)
    lost = SLOWER * np.maximum(DAILY - ONSET, 0)
    slow = np.repeat(np.arange(1, SEEDLINGS.rows + 1), SEEDLINGS.columns) == slow_row
    days = (DAILY - DAILY[0])[None, :] - np.where(slow[:, None], lost[None, :], 0.0)
    seen = level[:, None] + rate[:, None] * days - 0.004 * (DAILY - DAILY[0]) ** 2
    seen += rng.normal(0, rng.uniform(0.03, 0.06), seen.shape) + rng.normal(0, rng.uniform(0.01, 0.03), len(DAILY))
    seen += np.where(rng.random(seen.shape) < 0.01, rng.normal(0, 0.5, seen.shape), 0.0)
    areas = np.exp(seen).ravel()
    return pd.DataFrame(
        {
            "plant": np.repeat(SEEDLINGS.names(), len(DAILY)), "das": np.tile(DAILY, plants), "area_mm2": areas,
            "area_low_mm2": areas * 0.9, "area_high_mm2": areas * 1.1,
        }
    )  # fmt: skip


def watch_trays(trays: int, seed: int, *, settings: GrowthSettings) -> dict[str, float]:
    """How soon a slow row is named, and how often something is named where nothing is wrong."""
    recipe = recipe_for("butterhead", "seedling")
    tray = TrayRecord(tray="drawn", layout=SEEDLINGS, sown_on=date(2026, 3, 2))
    lags, false, photos = [], {"tray": 0, "row": 0, "column": 0, "cell": 0}, 0
    for number in range(trays):
        row = 1 + number % SEEDLINGS.rows
        for slow_row in (row, None):
            readings = draw_seedlings(seed + number, slow_row=slow_row)
            off = departures(readings, recipe=recipe, curve=settings.curve, watch=settings.watch)
            alerts = watch(off, tray=tray, settings=settings.watch).alerts
            if slow_row is None:
                photos += len(off.das)
                false = {what: count + int((alerts["what"] == what).sum()) for what, count in false.items()}
            else:
                name = SEEDLINGS.names()[(row - 1) * SEEDLINGS.columns].rstrip("1")
                own = alerts[(alerts["what"] == "row") & (alerts["name"] == name) & (alerts["das"] > ONSET)]
                lags.append(float(own["das"].min()) - ONSET if len(own) else np.inf)
    return {
        "trays": trays, "slow row named within 4 photos %": 100 * float(np.mean(np.array(lags) <= 4)),
        "median photos until named": float(np.median(lags)), "photos without trouble": photos,
        **{f"false {what} alarms per 100 photos": 100 * count / photos for what, count in false.items()},
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--trays", type=int, default=60)
    parser.add_argument("--seed", type=int, default=FIRST_SEED)
    parser.add_argument("--watch", type=int, default=0)
    arguments = parser.parse_args()
    settings = GrowthSettings()
    if arguments.trays:
        print_forecasts(arguments.trays, arguments.seed, settings=settings)
    if arguments.watch:
        print("\ntrouble seen early")
        for name, value in watch_trays(arguments.watch, arguments.seed, settings=settings).items():
            print(f"{name}: {value:.4g}")


def print_forecasts(trays: int, seed: int, *, settings: GrowthSettings) -> None:
    """Range drawn from, then shares."""
    for name, (low, high) in RANGES.items():
        print(f"{name}: {low:g} to {high:g}")
    scores = [score(draw_tray(seed + i, area=32_000.0), settings=settings) for i in range(trays)]
    print(f"\n5 days ahead, {100 * settings.forecast.level:.0f} % ranges")
    print(table(pd.DataFrame(scores)).round(1).to_string(index=False))


if __name__ == "__main__":
    main()
