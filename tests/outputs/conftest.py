"""One tray worked through on paper: a flat frame, discs for plants, decisions written in by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from canopy.analyse import Worked
from canopy.measure import CELL_COLUMNS, TRAY_COLUMNS, as_table
from canopy.photo import Photo
from canopy.records import Layout, Reading, TrayRecord
from canopy.segment import Segmentation
from canopy.tray import Frame, Rectified

LAYOUT = Layout(
    name="2x3", rows=2, columns=3, pitch_x_mm=50, pitch_y_mm=50, outline_width_mm=170, outline_height_mm=110
)
DECISIONS = ["harvest", "wait", "inspect", "empty", "harvest", None]
RADII_MM = [20.0, 12.0, 15.0, 0.0, 24.0, 10.0]
MARGIN_MM = 20.0


@pytest.fixture
def reading() -> Reading:
    planted = [radius > 0 for radius in RADII_MM]
    nan_where_empty = np.array([radius if radius else np.nan for radius in RADII_MM])
    cells = as_table(
        {
            "photo": ["a.jpg"] * 6,
            "tray": ["T1"] * 6,
            "taken_at": ["2026-03-05T05:30:00"] * 6,
            "row": [1, 1, 1, 2, 2, 2],
            "col": [1, 2, 3, 1, 2, 3],
            "cell": LAYOUT.names(),
            "state": ["planted" if p else "empty" for p in planted],
            "area_mm2": np.pi * nan_where_empty**2,
            "diameter_mm": 2 * nan_where_empty,
            "x_mm": LAYOUT.centres_mm()[:, 0] + 0 * nan_where_empty,
            "y_mm": LAYOUT.centres_mm()[:, 1] + 0 * nan_where_empty,
            "readiness": [91.0, 40.0, 82.0, np.nan, 95.5, np.nan],
            "decision": [pd.NA if d is None else d for d in DECISIONS],
            "reason": [pd.NA, "too small", "yellow leaves", pd.NA, pd.NA, pd.NA],
        },
        columns=CELL_COLUMNS,
    )
    trays = as_table(
        {"photo": ["a.jpg"], "tray": ["T1"], "taken_at": ["2026-03-05T05:30:00"], "cells": [6], "planted": [5],
         "emergence": [5 / 6], "decision": ["wait"]},
        columns=TRAY_COLUMNS,
    )  # fmt: skip
    criteria = pd.DataFrame({"cell": ["A1"], "criterion": ["size"], "desirability": [0.91], "weight": [1.0]})
    return Reading("a.jpg", "T1", cells, trays, criteria)


@pytest.fixture
def worked(reading) -> Worked:
    """The photo is the tray at 1 mm per pixel with 20 mm around it, decoded at half of its full size."""
    rows, columns = np.mgrid[:150, :210]
    owner = np.zeros((150, 210), np.uint16)
    for number, ((x, y), radius) in enumerate(zip(LAYOUT.centres_mm() + MARGIN_MM, RADII_MM, strict=True), start=1):
        owner[np.hypot(columns - x, rows - y) < radius] = number
    cover = (owner > 0).astype(np.float32)
    rgb = np.full((150, 210, 3), 70, np.uint8)
    rgb[owner > 0] = (90, 150, 60)
    photo = Photo("a.jpg", rgb, 2, 420, 300, None, "", None)
    frame = Frame(
        np.array([[1.0, 0, MARGIN_MM], [0, 1, MARGIN_MM], [0, 0, 1]]), 0.0, 210, 150, 1.0, 0.0, 0.0, "corners", None
    )
    rectified = Rectified(rgb, np.ones(rgb.shape[:2], bool), 1.0, -MARGIN_MM, -MARGIN_MM)
    segmentation = Segmentation(cover, owner, np.zeros_like(cover), np.zeros(6), np.zeros(6), 1.0)
    return Worked(photo, frame, rectified, segmentation, reading, TrayRecord(tray="T1", layout=LAYOUT))


@pytest.fixture
def turned(worked) -> Worked:
    """The same tray lying upside down in the photo: A1 at the lower right."""
    back = np.array([[-1.0, 0, 210 - 1 - MARGIN_MM], [0, -1, 150 - 1 - MARGIN_MM], [0, 0, 1]])
    photo = replace(worked.photo, rgb=np.ascontiguousarray(worked.photo.rgb[::-1, ::-1]))
    return replace(worked, photo=photo, frame=replace(worked.frame, px_from_mm=back))
