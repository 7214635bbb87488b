"""Cells as forecasts give them, made up by hand."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from canopy.plan import Supply, check_orders
from canopy.settings.plan import PlanSettings

TODAY = date(2026, 6, 1)
PLAIN = PlanSettings(short_weight=0, leftover_weight=0, later=0, fresh=0, minutes_per_tray=0, hours_per_day=1000)
"""Nothing counts but the orders met."""


def supply(
    trays: dict[str, tuple[str, int]], *, days: int = 3, sure=0.95, grams=60.0, later=1.0, area=30_000.0
) -> Supply:
    """Trays by name with crop and number of cells, all alike."""
    names = [name for name, (_, count) in trays.items() for _ in range(count)]
    cells = [f"A{k}" for _, count in trays.values() for k in range(1, count + 1)]
    crops = [crop for crop, count in trays.values() for _ in range(count)]
    shape = (len(names), days)
    return Supply(
        np.array(names), np.array(cells), np.array(crops), pd.date_range(TODAY, periods=days),
        np.broadcast_to(np.asarray(sure, dtype=float), shape).copy(),
        np.broadcast_to(np.asarray(grams, dtype=float), shape).copy(),
        np.broadcast_to(np.asarray(area, dtype=float), shape).copy(), np.full(len(names), later), np.ones(shape, bool),
    )  # fmt: skip


def orders(*lines: tuple[str, str, object, object], **more: list[object]) -> pd.DataFrame:
    """Lines of crop, due, heads, grams."""
    table = pd.DataFrame(lines, columns=["crop", "due", "heads", "grams"]).assign(**more)
    good, complaints = check_orders(table, crops={line[0] for line in lines}, today=TODAY)
    assert complaints == ()
    return good


def farm(trays: int, cells: int, *, days: int, seed: int) -> Supply:
    """Trays of three crops that become ready over some days, plants of each spread round their tray."""
    rng = np.random.default_rng(seed)
    tray = np.repeat(np.arange(trays), cells)
    ready = rng.uniform(-6, 12, trays)[tray] + rng.normal(0, 1.2, len(tray))
    day = np.arange(days)
    grams = 60 * np.exp(rng.normal(0, 0.15, len(tray)))[:, None] * np.exp(0.08 * day)
    return Supply(
        np.array([f"T{t:03}" for t in tray]), np.array([f"A{k % cells + 1}" for k in range(len(tray))]),
        np.array(["cos", "basil", "kale"])[tray % 3], pd.date_range(TODAY, periods=days),
        1 / (1 + np.exp(-2 * (day - ready[:, None]))), grams, 500 * grams, 1 / (1 + np.exp(-(ready + 9 - days))),
        np.ones((len(tray), days), bool),
    )  # fmt: skip


def farm_orders(of: Supply, count: int, *, seed: int, share: float = 0.6) -> pd.DataFrame:
    """Orders over all days for a share of the plants."""
    rng = np.random.default_rng(seed)
    crops = sorted(set(of.crop))
    lines = []
    for k in range(count):
        heads = int(len(of) * share / count * rng.uniform(0.5, 1.5))
        due = str(of.days[rng.integers(len(of.days))].date())
        lines.append((crops[k % 3], due, heads, "") if rng.random() < 0.7 else (crops[k % 3], due, "", 60 * heads))
    return orders(*lines)
