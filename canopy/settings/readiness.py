"""Score and decision: the adjustable numbers of this room.

All defaults are our own and cautious (a crop offered too early is lost, one offered a day late is not); tune them on
own trays.
"""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class ReadinessSettings(BaseModel):
    """Score and decision."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    ready_score: float = Field(80.0, ge=1, le=100, description="Readiness from which a cell is offered, 0..100.")
    ready_doubt_points: float = Field(
        8.0,
        ge=0,
        le=100,
        description="A cell at or above `ready_score` is inspected when its range reaches more than this below it.",
    )
    wait_doubt_points: float = Field(
        15.0,
        ge=0,
        le=100,
        description="A cell below `ready_score` is inspected when its range reaches more than this above it.",
    )
    maybe_empty_range: float = Field(
        1.5,
        ge=1,
        le=100,
        description="A small cell may be empty when its area's upper end over its lower is this many times the tray's "
        "median.",
    )
    maybe_empty_share: float = Field(
        0.33,
        ge=0,
        le=1,
        description="Share of the tray's median area below which a cell of such a wide range is inspected; 0: never.",
    )
    ready_without_colour: bool = Field(
        False, description="Offer cells whose colour, and so their damage, could not be judged (purple light)."
    )
    range_factor: float = Field(
        1.96, ge=1, le=4, description="Standard uncertainties on either side in a range; 1.96 is 95 % of a normal law."
    )
    hue_sd_deg: float = Field(4.0, ge=0, le=60, description="Standard uncertainty of a cell's hue, degrees.")
    index_sd: float = Field(0.03, ge=0, le=1, description="Standard uncertainty of a cell's colour index.")
    damage_sd: float = Field(0.02, ge=0, le=1, description="Standard uncertainty of yellow plus brown fraction.")
    tray_ready_share: float = Field(
        0.8, gt=0, le=1, description="Share of planted cells that must be ready before the whole tray is offered."
    )
    tray_inspect_share: float = Field(
        0.2, gt=0, le=1, description="Share of planted cells to inspect from which the whole tray is to be inspected."
    )


class LearnSettings(BaseModel):
    """Weights and bounds proposed from past decisions and their outcomes."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    least: int = Field(30, ge=10, le=100000, description="Outcomes below which nothing is proposed.")
    least_trays: int = Field(3, ge=2, le=1000, description="Trays with outcomes below which nothing is proposed.")
    folds: int = Field(5, ge=2, le=100, description="Parts that trays are dealt into; each is told from the others.")
    weight_sd: float = Field(
        0.7, gt=0, le=5, description="How far ln of a weight may stray before outcomes must speak for it."
    )
    bound_sd: float = Field(
        0.25, gt=0, le=5, description="How far ln of a bound may stray before outcomes must speak for it."
    )
    strength: float = Field(
        2.0, gt=0, le=1000, description="Outcomes that the recipe as it stands counts for, for each number it holds."
    )
    soft_points: float = Field(
        8.0, gt=0, le=100, description="Points round `ready_score` within which a score speaks for neither outcome."
    )
    match_days: float = Field(
        2.0, ge=0, le=30, description="An outcome belongs to the last photo of its tray at most so many days before it."
    )
    gain: float = Field(
        0.02, ge=0, le=1, description="Least fall of the error, as a share of it, before a change is recommended."
    )
