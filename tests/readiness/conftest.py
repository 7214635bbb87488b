"""A small tray of measured cells whose numbers are chosen so that sums can be done by hand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import pandas as pd
import pytest

from canopy.records.recipe import CropRecipe
from canopy.settings.readiness import ReadinessSettings

SOWN = date(2026, 5, 1)
TAKEN = datetime(2026, 5, 13, 5, 30)  # day 12

RECIPE: dict[str, Any] = {
    "crop": "demo",
    "stage": "seedling",
    "size": {"better": "larger", "low": 0, "target": 1000, "weight": 0.4, "source": "ours"},
    "colour": {
        "index": "ngrdi",
        "better": "larger",
        "low": 0.0,
        "target": 0.2,
        "weight": 0.2,
        "may_be_withheld": True,
        "source": "ours",
    },
    "age": {"better": "target", "low": 2, "target": 12, "target_high": 20, "high": 30, "weight": 0.2, "source": "ours"},
    "health": {
        "better": "smaller",
        "target": 0.0,
        "high": 0.5,
        "weight": 0.2,
        "may_be_withheld": True,
        "source": "ours",
    },
    "gates": {"minimum_das": 10, "minimum_area_mm2": 500, "damage_limit": 0.2, "source": "ours"},
}

# A perfect plant: every desirability is 1, far from every limit.
PERFECT: dict[str, Any] = {
    "tray": "T-01",
    "row": 1,
    "col": 1,
    "cell": "A1",
    "state": "planted",
    "area_mm2": 1500.0,
    "area_low_mm2": 1450.0,
    "area_high_mm2": 1550.0,
    "cover": 0.8,
    "hue_deg": 110.0,
    "exg": 0.5,
    "ngrdi": 0.35,
    "gli": 0.3,
    "dgci": 0.5,
    "yellow_fraction": 0.0,
    "brown_fraction": 0.0,
    "reason": None,
}


@pytest.fixture
def settings() -> ReadinessSettings:
    return ReadinessSettings()


@pytest.fixture
def recipe() -> CropRecipe:
    return CropRecipe.model_validate(RECIPE)


@pytest.fixture
def make_cells() -> Callable[..., pd.DataFrame]:
    """One row per given change to the perfect plant; areas given alone get a range of ±50 mm²."""

    def make(*changes: dict[str, Any]) -> pd.DataFrame:
        rows = []
        for number, change in enumerate(changes, start=1):
            row = {**PERFECT, "col": number, "cell": f"A{number}", **change}
            if "area_mm2" in change and "area_low_mm2" not in change:
                row |= {"area_low_mm2": change["area_mm2"] - 50, "area_high_mm2": change["area_mm2"] + 50}
            rows.append(row)
        return pd.DataFrame(rows, columns=list(dict.fromkeys([*PERFECT, *(k for c in changes for k in c)])))

    return make
