"""What to cut for the orders, and pick lists for machines: the adjustable numbers of both.

All defaults are our own: set them to what your crew and your customers do.
"""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class PlanSettings(BaseModel):
    """What to cut for the orders."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    days: int = Field(7, ge=1, le=60, description="Days that are planned, today the first.")
    sure: float = Field(
        0.8, gt=0, lt=1, description="Least probability of being ready and not too late with which a plant is planned."
    )
    keep_days: int = Field(1, ge=0, le=30, description="Days that a cut plant may be kept before its order is due.")
    hours_per_day: float = Field(8.0, gt=0, le=1000, description="Hours of labour on each day, all hands together.")
    cells_per_hour: float = Field(300.0, gt=0, le=100000, description="Plants that one hand cuts in an hour.")
    minutes_per_tray: float = Field(
        1.0, ge=0, le=600, description="Minutes to fetch a tray, open it and put it back, besides cutting."
    )
    trays_per_day: int = Field(10000, ge=1, le=1000000, description="Trays that may be opened on one day.")
    whole_tray: bool = Field(False, description="Cut trays whole or not at all, instead of plant by plant.")
    short_weight: float = Field(
        3.0, ge=0, le=1000, description="What a missing plant costs beyond its own value, in its value: lost custom."
    )
    leftover_weight: float = Field(
        0.3, ge=0, le=100, description="What a plant cut for nobody costs beyond its own worth, in values of a plant."
    )
    later: float = Field(
        0.5,
        ge=0,
        le=1,
        description="Worth of a plant left to grow past the planned days, in values of a plant of today.",
    )
    fresh: float = Field(
        0.01, ge=0, le=1, description="What each day between cut and due date costs, in values of a plant."
    )
    day_cost: float = Field(
        0.01,
        ge=0,
        le=1,
        description="What a day in the tray costs, in values of a plant, when best days are told.",
    )
    grams_step: float = Field(
        0.2,
        gt=0,
        le=0.5,
        description="Plants of a tray whose grams and worth lie within one such step of ln count as equal.",
    )
    exact_columns: int = Field(
        20000,
        ge=0,
        le=10000000,
        description="Up to so many choices all are tried to be made whole at once; larger plans are solved in parts.",
    )
    gap: float = Field(
        0.005, ge=0, le=0.5, description="The search ends when no better plan can be worth more than this share."
    )
    time_limit_s: float = Field(
        20.0, gt=0, le=3600, description="Seconds after which the best plan so far is taken; its gap is then said."
    )


class PickSettings(BaseModel):
    """Pick lists for machines."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    max_age_hours: float = Field(
        24.0, gt=0, le=1000, description="Positions from a photo older than this are not given: plants move and grow."
    )
    max_tilt_deg: float = Field(
        15.0, ge=0, le=60, description="Positions from a photo taken at a greater tilt are not given."
    )
    improve_rounds: int = Field(
        20, ge=0, le=1000, description="Rounds of shortening the path by turning round stretches of it, at most."
    )
