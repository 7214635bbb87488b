from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

TRUTH = Path(__file__).parent.parent / "truth"


def read_truth(name: str) -> pd.DataFrame:
    return pd.read_csv(TRUTH / name, comment="#", encoding="utf-8")


@pytest.fixture(scope="session")
def wheat():
    """(20, 25) grain yields."""
    return (
        read_truth("wheat_uniformity_trial_20x25.csv")
        .pivot_table(index="row", columns="col", values="yield")
        .to_numpy()
    )


@pytest.fixture(scope="session")
def radish():
    """Four (10, 10) boxes of radish weights; one value missing in B3."""
    table = read_truth("radish_boxes_10x10x4.csv")
    boxes = {
        block: rows.pivot_table(index="row", columns="col", values="yield", dropna=False)
        for block, rows in table.groupby("block")
    }
    return {block: box.to_numpy() for block, box in boxes.items()}
