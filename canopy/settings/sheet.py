"""The printed sheet and the check of its print."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class SheetSettings(BaseModel):
    """The printed sheet of markers, card and ruler, tray labels, and the check of a print; bears on no reading."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    label_width_mm: float = Field(90.0, ge=40, le=180, description="Width of one tray label.")
    label_height_mm: float = Field(40.0, ge=20, le=120, description="Height of one tray label.")
    scale_tolerance: float = Field(
        0.01, ge=0.002, le=0.05, description="A print is good when its scale is off by no more than this share."
    )
    check_long_side_px: int = Field(
        3000, ge=1000, le=20000, description="A photo of the print is decoded at this long side at least."
    )
    check_px_per_mm: float = Field(
        6.0, ge=2, le=30, description="Scale at which the field round the card is looked at."
    )
    seen_share_min: float = Field(
        0.6, ge=0.2, le=1, description="Share of a card's side that must be found for its size to be told."
    )
    contrast_min: float = Field(
        0.15, ge=0.02, le=1, description="The field's squares must differ by this share of full scale to be read."
    )
