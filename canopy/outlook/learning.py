"""Outcomes that people note, matched with what was measured when it was decided; proposals by crop, and their file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.batch.text_file import read_text
from canopy.errors import UsageError
from canopy.growth import Complaint
from canopy.growth.checks import LINE, Check
from canopy.growth.events import WHOLE_TRAY, refuse_before_sowing, refuse_unknown_cells
from canopy.outlook.follow import Crop, Lined
from canopy.outlook.typed_tables import Typed
from canopy.readiness.learn import Proposal, propose, recipe_block
from canopy.readiness.recipes import recipes_from_toml
from canopy.records import CropRecipe, TrayRecord
from canopy.records.text import TEXT_TYPE
from canopy.settings import Settings

OUTCOMES = "outcomes"
OUTCOME_COLUMNS = ("tray", "date")
RIGHT, EARLY, LATE = "right", "too early", "too late"


@dataclass(frozen=True)
class Learnt:
    """What outcomes of one crop and stage say.

    Attributes
    ----------
    recipe : CropRecipe
        As it was.
    proposal : Proposal
    """

    recipe: CropRecipe
    proposal: Proposal


def check_outcomes(typed: Typed, *, trays: Mapping[str, TrayRecord]) -> tuple[pd.DataFrame, tuple[Complaint, ...]]:
    """Check outcomes.

    Parameters
    ----------
    typed : Typed
        `tray`, `date` (of the cut), optionally `cell` (empty: all of the tray), and either `outcome` (`too early`,
        `right`, `too late`) or `grams` with `min_g` and `max_g`: lighter is too early, heavier too late.
    trays : mapping of tray id to TrayRecord

    Returns
    -------
    outcomes : pandas.DataFrame
        `tray`, `cell`, `date`, `outcome`, `line`.
    complaints : tuple of Complaint
    """
    table = typed.table
    lacking = [name for name in ("cell", "outcome", "grams", "min_g", "max_g") if name not in table]
    check = Check(table.assign(**dict.fromkeys(lacking)), name=OUTCOMES, columns=OUTCOME_COLUMNS)
    check.known("tray", trays, what="tray")
    check.day("date")
    refuse_unknown_cells(check, trays)
    refuse_before_sowing(check, trays)
    words = check.table["outcome"].astype(TEXT_TYPE).str.strip().str.lower().fillna("")
    by_weight = (words == "").to_numpy(dtype=bool)
    for name in ("grams", "min_g", "max_g"):
        check.table[name] = check.table[name].where(by_weight, 1.0)
        check.number(name, above=0.0)
    grams, low, high = (check.table[name].to_numpy(dtype=float) for name in ("grams", "min_g", "max_g"))
    weighed = np.where(grams < low, EARLY, np.where(grams > high, LATE, RIGHT))
    check.table["outcome"] = np.where(by_weight, weighed, words)
    check.known("outcome", (RIGHT, EARLY, LATE), what="outcome")
    check.once(("tray", "cell", "date"))
    check.table[LINE] = check.lines
    good, complaints = check.result()
    return good[["tray", "cell", "date", "outcome", LINE]], (*typed.complaints, *complaints)


def learn_recipes(
    outcomes: pd.DataFrame, lined: Sequence[Lined], *, settings: Settings
) -> tuple[dict[Crop, Learnt], tuple[Complaint, ...]]:
    """Proposals for each crop and stage that has outcomes.

    Returns
    -------
    learnt : dict of (crop, stage) to Learnt
    complaints : tuple of Complaint
        Outcomes without a photo near enough.
    """
    by_tray = {one.name: one for one in lined}
    found: dict[Crop, list[tuple[NDArray[np.float64], bool, str]]] = {}
    complaints = []
    for row in outcomes.to_dict("records"):
        one = by_tray.get(str(row["tray"]))
        cells = None if one is None else _shown(one, row["date"], str(row["cell"]), settings=settings)
        if one is None or cells is None or not len(cells):
            text = f"no photo of {row['tray']} shows {row['cell']} in the {settings.learn.match_days:g} days before"
            complaints.append(Complaint(OUTCOMES, int(row[LINE]), "date", text))
            continue
        values = _values(one.tray.recipe, cells)
        found.setdefault(one.crop, []).extend((value, row["outcome"] == RIGHT, one.name) for value in values)
    recipes = {one.crop: one.tray.recipe for one in lined}
    return {crop: _learnt(recipes[crop], rows, settings=settings) for crop, rows in found.items()}, tuple(complaints)


def _learnt(recipe: CropRecipe, rows: list[tuple[NDArray[np.float64], bool, str]], *, settings: Settings) -> Learnt:
    values, right, tray = (list(column) for column in zip(*rows, strict=True))
    proposal = propose(
        np.array(values), np.array(right, dtype=bool), np.array(tray, dtype=str), recipe=recipe,
        ready_score=settings.readiness.ready_score, settings=settings.learn,
    )  # fmt: skip
    return Learnt(recipe, proposal)


def _shown(one: Lined, day: pd.Timestamp, cell: str, *, settings: Settings) -> pd.DataFrame | None:
    """Plants of the last photo before the end of a day."""
    table = one.history.table
    until = (day - pd.Timestamp(one.tray.record.sown_on)).days + 1.0  # type: ignore[arg-type]
    near = table[(table["das"] < until) & (table["das"] >= until - 1.0 - settings.learn.match_days)]
    if not len(near):
        return None
    photo = near[(near["das"] == near["das"].max()) & near["state"].eq("planted").fillna(False)]
    return pd.DataFrame(photo if cell == WHOLE_TRAY else photo[photo["cell"] == cell])


def _values(recipe: CropRecipe, cells: pd.DataFrame) -> NDArray[np.float64]:
    """(n, K) measurements in the order of the recipe's criteria."""
    damage = cells["yellow_fraction"].to_numpy(float) + cells["brown_fraction"].to_numpy(float)
    columns = {"das": np.floor(cells["das"].to_numpy(float)), "damage_fraction": np.minimum(damage, 1.0)}
    return np.column_stack(
        [columns[c.measure] if c.measure in columns else cells[c.measure].to_numpy(float) for c in recipe.criteria]
    )


def write_recipes(learnt: Mapping[Crop, Learnt], path: Path) -> list[str]:
    """Write the recipes that outcomes bear out into a new file, as blocks for a settings file.

    Returns
    -------
    list of str
        What was written: crops and stages.

    Raises
    ------
    UsageError
        The file is there already or cannot be written, or no change is borne out.
    """
    borne_out = {crop: one for crop, one in learnt.items() if one.proposal.better}
    if not borne_out:
        raise UsageError(f"{path}: nothing is written, since no change is borne out by the outcomes")
    text = "\n".join(recipe_block(one.recipe, one.proposal.recipe) for one in borne_out.values())
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(f"# Proposed by `canopy learn`; put it at the end of canopy.toml to use it.\n{text}")
    except FileExistsError:
        raise UsageError(f"{path}: is there already and is not overwritten; choose another name") from None
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}); choose another place") from None
    recipes_from_toml(read_text(path), source_name=path.name)
    return [f"{crop} {stage}" for crop, stage in borne_out]
