"""What a person says of one photo against what was seen in it: cells set right, strokes painted."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

CellState = Literal["planted", "empty", "dead"]


class Stroke(BaseModel):
    """One stroke of a brush over the tray."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    plant: bool = Field(description="True: this is plant; False: this is none.")
    radius_mm: float = Field(gt=0, le=200, description="Half the width of the stroke.")
    points_mm: tuple[tuple[float, float], ...] = Field(
        min_length=1, max_length=2000, description="Where the brush went, tray mm."
    )


class ByHand(BaseModel):
    """All that was set right by hand in one photo of one tray."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    states: tuple[tuple[str, CellState], ...] = Field((), description="Cells whose state a person has given.")
    strokes: tuple[Stroke, ...] = Field((), description="Strokes in the order they were painted.")
