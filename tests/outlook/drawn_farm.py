"""A farm of two trays of heads that grow by known curves, its store filled without any photo."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from canopy.measure.columns import CELL_COLUMNS, TRAY_COLUMNS, as_table
from canopy.records import Layout, Reading
from canopy.store.database import opened
from canopy.store.ledger import READ, Photo, put_photo
from canopy.store.readings import Origin, put_reading
from canopy.store.schema import CRITERIA

SOWN = date(2026, 5, 1)
TODAY = date(2026, 6, 1)
"""Day 31; the last photos are of day 31 at 08:00."""
LAYOUT = Layout(
    name="4x6", rows=4, columns=6, pitch_x_mm=200, pitch_y_mm=200, outline_width_mm=1250, outline_height_mm=850
)
TRAYS = "tray,layout,pitch_mm,outline_mm,crop,stage,sown_on\n" + "".join(
    f"{tray},4x6,200,1250x850,butterhead,finish,2026-05-01\n" for tray in ("T1", "T2")
)
_TYPES = {"boolean": "bool"}


def truth(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Final areas and days of half of it, (4, 6) each; rate 0.25 per day."""
    rng = np.random.default_rng(seed)
    return 60_000 * np.exp(rng.normal(0, 0.2, (4, 6))), 32 + rng.normal(0, 1, (4, 6))


def areas(seed: int, das: float) -> np.ndarray:
    final, middle = truth(seed)
    return final / (1 + np.exp(-0.25 * (das - middle)))


def make_farm(folder: Path, *, trays: str = TRAYS, slow_row: int | None = None) -> Path:
    """Folder with a tray list and a store of six photos a tray, days 16 to 31."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "trays.csv").write_text(trays)
    with opened(str(folder / "canopy.db"), busy_timeout_s=5, make=True) as store, store.writing() as connection:
        for number, tray in enumerate(("T1", "T2"), start=1):
            rng = np.random.default_rng(100 + number)
            for das in range(16, 32, 3):
                area = areas(number, das + 1 / 3) * np.exp(rng.normal(0, 0.03, (4, 6)))
                if slow_row is not None and number == 1:
                    area[slow_row] *= np.exp(-0.06 * max(das - 22, 0))
                name = f"{tray}_{das}.jpg"
                sha = f"{number}{das:03}" * 16
                put_photo(connection, Photo(sha, name, 1, 1, READ, None, None, "w"))
                put_reading(connection, _reading(name, tray, das, area), Origin(sha, "f", "0.1.0", "w", "2026"))
    return folder


def _reading(photo: str, tray: str, das: int, area: np.ndarray) -> Reading:
    taken_at = f"{SOWN + timedelta(days=das)}T08:00:00"
    values, centres = area.ravel(), LAYOUT.centres_mm()
    labels = {"photo": [photo] * 24, "tray": [tray] * 24, "taken_at": [taken_at] * 24}
    cells = as_table(
        {
            **labels,
            "row": np.repeat(np.arange(1, 5), 6),
            "col": np.tile(np.arange(1, 7), 4),
            "cell": LAYOUT.names(),
            "state": ["planted"] * 24,
            "das": [das] * 24,
            "area_mm2": values,
            "area_low_mm2": 0.93 * values,
            "area_high_mm2": 1.07 * values,
            "yellow_fraction": np.zeros(24),
            "brown_fraction": np.zeros(24),
            "readiness": np.full(24, 90.0),
            "decision": np.where(values >= 32_000, "harvest", "wait"),
            "x_mm": centres[:, 0],
            "y_mm": centres[:, 1],
            "diameter_mm": 1.2 * np.sqrt(values),
        },
        columns=CELL_COLUMNS,
    )
    trays = as_table(
        {"photo": [photo], "tray": [tray], "taken_at": [taken_at], "quality": ["good"], "located_by": ["markers"],
         "tilt_deg": [2.0],
         "cells": [24], "planted": [24]},
        columns=TRAY_COLUMNS,
    )  # fmt: skip
    criteria = pd.DataFrame({name: [] for name in CRITERIA}).astype(
        {name: _TYPES.get(dtype, dtype) for name, dtype in CRITERIA.items()}
    )
    return Reading(photo, tray, cells, trays, criteria, ())
