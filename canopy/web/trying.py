"""A tray decided anew by a changed recipe, from what was measured; nothing is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pandas as pd
from pydantic import ValidationError

from canopy.errors import PhotoError
from canopy.readiness import score_cells
from canopy.records import CropRecipe, TrayRecord
from canopy.settings import ReadinessSettings
from canopy.store.newest import Kept
from canopy.web.pages import plain

# Numbers of a criterion that may be moved, with their words.
NUMBERS = (("weight", "weight"), ("low", "nothing at or below"), ("target", "full marks from"),
           ("target_high", "full marks up to"), ("high", "nothing from"))  # fmt: skip
GATES = (("minimum_das", "not before day"), ("minimum_area_mm2", "not below mm²"), ("damage_limit", "look at above"))


@dataclass(frozen=True)
class Changed:
    """A cell that another recipe decides otherwise, or scores otherwise."""

    cell: str
    before: str
    after: str
    score_before: float | None
    score_after: float | None

    @property
    def decided_otherwise(self) -> bool:
        """Another decision, not a mere other score."""
        return self.before != self.after


def changed_recipe(recipe: CropRecipe, fields: Mapping[str, str]) -> tuple[CropRecipe, list[str]]:
    """The recipe with numbers of a form put in, and what is wrong with them; the recipe itself where anything is."""
    data: dict[str, Any] = recipe.model_dump(exclude_none=True)
    wrong: list[str] = []
    for name, text in fields.items():
        block, _, number = name.partition(".")
        allowed = {key for key, _ in (GATES if block == "gates" else NUMBERS)}
        if block not in data or not isinstance(data[block], dict) or number not in allowed or not text.strip():
            continue
        try:
            value = float(text.replace(",", "."))
            data[block] = {**data[block], number: int(value) if number == "minimum_das" else value}
        except (ValueError, OverflowError):
            wrong.append(f"{block} {number}: `{text[:20]}` is no number")
    if wrong:
        return recipe, wrong
    try:
        return CropRecipe.model_validate(data), []
    except ValidationError as error:
        return recipe, _problems(error)


def decided(kept: Kept, recipe: CropRecipe, record: TrayRecord, *, settings: ReadinessSettings) -> pd.DataFrame:
    """The reading's cells, decided by a recipe; what was to be looked at for other reasons stays so."""
    taken_at = plain(kept.trays.iloc[0].to_dict())["taken_at"]
    # What was said of the cells by the score itself is said anew.
    cells = kept.cells.assign(reason=kept.cells["reason"].mask(kept.cells["state"].eq("planted").fillna(False)))
    cells["doubtful"] = _doubtful_before(kept)
    try:
        return score_cells(
            cells,
            recipe,
            taken_at=datetime.fromisoformat(taken_at) if taken_at else None,
            sown_on=record.sown_on,
            treatments=record.treatments,
            colour_withheld=bool(kept.criteria["withheld"].fillna(False).any()),
            settings=settings,
        ).cells
    except PhotoError:
        return cells


def changes(before: pd.DataFrame, after: pd.DataFrame) -> list[Changed]:
    """Cells that are decided or scored otherwise, those with another decision first."""
    found = []
    for old, new in zip(before.to_dict("records"), after.to_dict("records"), strict=True):
        a, b = plain(old), plain(new)
        one = Changed(str(a["cell"]), a["decision"] or "", b["decision"] or "", a["readiness"], b["readiness"])
        if one.decided_otherwise or _rounded(one.score_before) != _rounded(one.score_after):
            found.append(one)
    return sorted(found, key=lambda one: not one.decided_otherwise)


def _doubtful_before(kept: Kept) -> list[bool]:
    """Cells with a doubt that no recipe takes away: a code of the photo's own, such as `covered`, begins the reason."""
    from canopy.reasons import REASONS

    codes = [str(text).split(":")[0].strip() if isinstance(text, str) else "" for text in kept.cells["reason"]]
    return [code in REASONS and REASONS[code].blocks for code in codes]


def _rounded(score: float | None) -> int | None:
    return None if score is None else round(score)


def _problems(error: ValidationError) -> list[str]:
    said = []
    for entry in error.errors():
        where = " ".join(str(part) for part in entry["loc"])
        words = str(entry["ctx"]["error"]) if entry["type"] == "value_error" else entry["msg"]
        said.append(f"{where}: {words}".strip(": "))
    return said
