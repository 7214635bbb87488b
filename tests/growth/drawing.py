"""Trays of growing plants with known curves, drawn without any of the room's own code."""

from __future__ import annotations

import numpy as np
import pandas as pd


def logistic_tray(*, days, plants=48, final=50_000.0, rate=0.25, middle=30.0, noise=0.04, shared=0.0, seed=1):
    """Readings of plants on logistic curves round the tray's, and their true (final, rate, middle)."""
    rng = np.random.default_rng(seed)
    days = np.asarray(days, dtype=float)
    finals = final * np.exp(rng.normal(0, 0.2, plants))
    rates = rate * np.exp(rng.normal(0, 0.05, plants))
    middles = middle + rng.normal(0, 1.0, plants)
    true = finals[:, None] / (1 + np.exp(-rates[:, None] * (days - middles[:, None])))
    seen = true * np.exp(rng.normal(0, noise, true.shape) + rng.normal(0, shared, len(days)))
    names = [f"P{i:02d}" for i in range(plants)]
    table = pd.DataFrame({"plant": np.repeat(names, len(days)), "das": np.tile(days, plants), "area_mm2": seen.ravel()})
    table["area_low_mm2"] = table["area_mm2"] * 0.9
    table["area_high_mm2"] = table["area_mm2"] * 1.1
    return table, (finals, rates, middles)
