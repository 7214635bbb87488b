"""The line and the sum: whoever redoes them from the printed numbers gets the printed result."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest

from canopy.readiness.decide import score_cells
from canopy.readiness.explain import explain_cell, score_line
from canopy.records.recipe import CropRecipe
from canopy.records.tray import Treatment
from canopy.settings.readiness import ReadinessSettings

from .conftest import RECIPE, SOWN, TAKEN

MakeCells = Callable[..., pd.DataFrame]
NAMES = ["size", "colour", "age", "health"]


def rows(d: list[float], w: list[float]) -> pd.DataFrame:
    return pd.DataFrame({"criterion": NAMES[: len(d)], "desirability": d, "weight": w})


def redo(line: str) -> tuple[str, str]:
    """Printed score, and the score of the printed factors printed the same way."""
    printed, product = re.match(r"(?:Score: )?([\d.]+) = 100 · (.*?)(?: —|;|$)", line).groups()  # type: ignore[union-attr]
    factors = [float(d) ** float(w) for d, w in re.findall(r"\w+ ([\d.]+)\^([\d.]+)", product)]
    decimals = len(printed.partition(".")[2])
    return printed, f"{100 * math.prod(factors):.{decimals}f}"


def test_the_line() -> None:
    # 89.32 by calculator
    line = score_line(rows([0.95, 0.9, 0.7, 1.0], [0.4, 0.2, 0.2, 0.2]))
    assert line == "89 = 100 · size 0.95^.40 · colour 0.90^.20 · age 0.70^.20 · health 1.00^.20 — held back by age"


def test_nothing_holds_a_perfect_cell_back() -> None:
    line = score_line(rows([1.0, 1.0, 1.0, 1.0], [0.4, 0.2, 0.2, 0.2]))
    assert line == "100 = 100 · size 1.00^.40 · colour 1.00^.20 · age 1.00^.20 · health 1.00^.20"


def test_zero_line() -> None:
    assert score_line(rows([0.0, 1.0], [0.5, 0.5])) == "0 = 100 · size 0.00^.50 · colour 1.00^.50 — held back by size"


def test_a_single_criterion() -> None:
    assert score_line(rows([0.5], [1.0])) == "50 = 100 · size 0.50^1.00 — held back by size"


def test_missing_and_withheld() -> None:
    assert score_line(rows([0.9, math.nan], [0.5, 0.5])) == "no score: colour missing"
    withheld = score_line(rows([0.9, math.nan], [1.0, 0.0]))
    assert withheld == "90 = 100 · size 0.90^1.00 — held back by size; colour withheld, its weight shared out"
    assert score_line(rows([math.nan], [0.0])) == "no score: size missing"
    assert score_line(rows([], [])) == "no plant, no score"


def test_a_tiny_desirability_gets_the_digits_it_needs() -> None:
    # .004^.1 = .576: with two decimals the line would read 0.00 and give 0
    line = score_line(rows([0.004, 1.0], [0.1, 0.9]))
    assert line.startswith("58 = 100 · size 0.004^.100")


def test_random_lines_recompute_exactly() -> None:
    rng = np.random.default_rng(3)
    for _ in range(500):
        w = rng.dirichlet(np.ones(4))
        line = score_line(rows(list(rng.uniform(0.001, 1, 4) ** 2), list(w)))
        printed, again = redo(line)
        assert printed == again, line


def explained(cells: pd.DataFrame, recipe: CropRecipe, number: int = 0, **changes: Any) -> list[str]:
    given: dict[str, Any] = {"taken_at": TAKEN, "sown_on": SOWN, "settings": ReadinessSettings(), **changes}
    out = score_cells(cells, recipe, **given)
    cell = out.cells.iloc[number]
    return explain_cell(
        cell,
        out.criteria[out.criteria["cell"] == cell["cell"]],
        recipe,
        treatments=given.get("treatments", ()),
        taken_at=given["taken_at"],
        settings=given["settings"],
    )


def test_the_whole_sum(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cells = make_cells({"area_mm2": 950.0, "ngrdi": 0.18})
    text = "\n".join(explained(cells, recipe, sown_on=date(2026, 5, 4)))
    for part in (
        "Cell A1: demo (demo, seedling), 9 days after sowing",
        "size (area_mm2): 950 mm² (range 900 to 1000 mm²); larger is best: 0 at 0, 1 from 1000",
        "d = ((950 − 0) / (1000 − 0))^1 = 0.9500",
        "colour (ngrdi): 0.18 (range 0.1212 to 0.2388)",  # ± 1.96 · 0.03
        "d = ((0.18 − 0) / (0.2 − 0))^1 = 0.9000",
        "age (das): 9 days; target is best: 0 at 2, 1 at 12 to 20, 0 from 30",
        "d = ((9 − 2) / (12 − 2))^1 = 0.7000",
        "health (damage_fraction): 0 (range 0 to 0.0392); smaller is best: 1 up to 0, 0 from 0.5",
        "d = 1 (at the target) = 1.0000",
        "Weights (shares of the score): size 0.4000, colour 0.2000, age 0.2000, health 0.2000",
        "Score: 89.3 = 100 · size 0.95^.40 · colour 0.90^.20 · age 0.70^.20 · health 1.00^.20",
        "In one line: 89 = 100 · ",
        # 89.3218 / .95^.4, / .9^.2, / .7^.2 by calculator
        "Score if one criterion were 1: size 91.2, colour 91.2, age 95.9, health 89.3",
        "days after sowing 9, minimum 10",
        "area 950 mm², minimum 500 mm²",
        "yellow + brown: 0 + 0 = 0, limit 0.2",
        "no waiting time after a treatment on record",
        "Decision: wait (score 89.3218, offered from 80).",
        "Because: too young: 9 days after sowing, minimum 10",
    ):
        assert part in text, part


def formula_of(text: str) -> float:
    """The right-hand side of a printed `d = ((a − b) / (c − e))^s`, done as printed."""
    found = re.search(r"\(\((-?[\d.e+-]+) − (-?[\d.e+-]+)\) / \((-?[\d.e+-]+) − (-?[\d.e+-]+)\)\)\^([\d.]+)", text)
    assert found is not None, text
    a, b, c, e, s = map(float, found.groups())
    return ((a - b) / (c - e)) ** s


def test_every_printed_step_recomputes(make_cells: MakeCells) -> None:
    bent = {**RECIPE["size"], "better": "target", "low": 100, "high": 2500, "low_exponent": 1.5, "high_exponent": 0.7}
    recipe = CropRecipe.model_validate({**RECIPE, "size": bent})
    rng = np.random.default_rng(4)
    changes = [
        {
            "area_mm2": float(rng.uniform(110, 2490)),
            "ngrdi": float(rng.uniform(-0.1, 0.3)),
            "brown_fraction": float(rng.uniform(0, 0.6)),
        }
        for _ in range(60)
    ]
    steps = 0
    for number in range(len(changes)):
        lines = explained(make_cells(*changes), recipe, number)
        for line in lines:
            if "d = ((" in line:
                printed = float(line.rsplit("= ", 1)[1])
                # Half a unit of the printed fourth decimal, and the six printed digits of the value (relative 5e-6,
                # enlarged at most tenfold by the difference with a limit and by the exponent).
                assert formula_of(line) == pytest.approx(printed, abs=1e-4)
                steps += 1
        (score,) = [line for line in lines if line.startswith("Score: ")]
        assert redo(score)[0] == redo(score)[1]
    assert steps > 100


def test_the_printed_range_recomputes(make_cells: MakeCells, recipe: CropRecipe) -> None:
    cells = make_cells({"area_mm2": 700.0, "ngrdi": 0.1})
    lines = explained(cells, recipe)
    moves = [tuple(map(float, m)) for m in re.findall(r"by ([+-][\d.]+) to ([+-][\d.]+)", "\n".join(lines))]
    assert len(moves) == 3  # size, colour, health; age has no range
    score = float(re.search(r"score ([\d.]+),", "\n".join(lines)).group(1))  # type: ignore[union-attr]
    (ends,) = re.findall(r"kept within 0 to 100: ([\d.]+) to ([\d.]+)", "\n".join(lines))
    low = score - math.sqrt(sum(m[0] ** 2 for m in moves))
    high = score + math.sqrt(sum(m[1] ** 2 for m in moves))
    # Moves are printed to 0.01 and ends to 0.1: half a unit of each.
    assert float(ends[0]) == pytest.approx(low, abs=0.06)
    assert float(ends[1]) == pytest.approx(min(high, 100), abs=0.06)


def test_withheld_unknown_and_treated_are_said(make_cells: MakeCells, recipe: CropRecipe) -> None:
    treatments = [Treatment(applied_on=date(2026, 5, 12), interval_days=3, product="Soap")]
    text = "\n".join(explained(make_cells({}), recipe, colour_withheld=True, treatments=treatments))
    assert "colour (ngrdi): not judged; weight shared out among the others" in text
    assert "waiting time after Soap applied 2026-05-12: 2 days left" in text
    assert "Decision: wait" in text
    unknown = "\n".join(explained(make_cells({"area_low_mm2": np.nan}), recipe, sown_on=None))
    assert "age unknown" in unknown
    assert "age (das): not judged; without it there is no score" in unknown
    assert "no score: age missing" in unknown
    no_range = "\n".join(explained(make_cells({"area_low_mm2": np.nan}), recipe))
    assert "Range: unknown" in no_range


def test_an_empty_cell_and_a_caution(make_cells: MakeCells) -> None:
    recipe = CropRecipe.model_validate({**RECIPE, "cautions": ["Look first."]})
    cells = make_cells({"state": "empty", "reason": "dead plant"}, {})
    empty = explained(cells, recipe)
    assert empty[1] == "No living plant in this cell: nothing to score. Decision: inspect."
    assert empty[2] == "Because: dead plant."
    assert explained(cells, recipe, 1)[-1] == "Caution: Look first."
