"""One line of the tray list: which tray a photo shows and what is known of it."""

from __future__ import annotations

from datetime import date

from pydantic import BaseModel, ConfigDict, Field

from canopy.records.by_hand import ByHand
from canopy.records.layout import Layout
from canopy.records.view import SavedView


class Treatment(BaseModel):
    """Something applied to the tray that must not be harvested before a waiting time is over.

    The days come from the product label and local rules; the tool only counts them.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    applied_on: date = Field(description="Day of the treatment.")
    product: str = Field("treatment", description="Name as on the label, for the reason's text.")
    interval_days: int = Field(ge=0, le=365, description="Pre-harvest interval in days, as printed on the label.")


class TrayRecord(BaseModel):
    """What the tray list says of one tray (all that the map step needs beside the photo's bytes)."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    tray: str = Field(min_length=1, description="Tray id.")
    layout: Layout = Field(description="Geometry of the tray; one of `layout_choices` until a photo has shown which.")
    layout_choices: tuple[Layout, ...] = Field(
        (), description="Layouts to choose among where none is named; empty where `layout` is named."
    )
    crop: str = Field("", description="Name of the crop recipe; empty: measured and scored on nothing.")
    stage: str = Field("", pattern="^(|seedling|finish|mat)$", description="Stage of the crop.")
    sown_on: date | None = Field(None, description="Day of sowing.")
    has_markers: bool | None = Field(
        None, description="True: markers must be found; False: never look; None: use them when they are there."
    )
    corners_px: tuple[tuple[float, float], ...] | None = Field(
        None, description="Outline corners 0..3 in upright full-size photo pixels, clockwise from A1's corner."
    )
    whole_picture: bool = Field(False, description="The picture's own border is the tray's outline.")
    trays_in_picture: int = Field(1, ge=1, le=9, description="Trays that the photo shows.")
    place: int = Field(1, ge=1, le=9, description="Which of them this is, in reading order, from 1.")
    view: SavedView | None = Field(
        None, description="Where the tray lies for the fixed camera that took the photo; checked against each photo."
    )
    camera_height_mm: float | None = Field(None, gt=0, le=20000, description="Lens above the rim.")
    canopy_height_mm: float | None = Field(None, ge=0, le=3000, description="Typed or measured canopy height.")
    treatments: tuple[Treatment, ...] = Field((), description="Treatments with a waiting time.")
    by_hand: ByHand | None = Field(None, description="What a person has set right in this photo.")
