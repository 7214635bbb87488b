"""Tables, pictures, report: the adjustable numbers of this room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class OutputSettings(BaseModel):
    """Tables, pictures, report."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    significant_digits: int = Field(
        5, ge=3, le=15, description="Significant digits of decimal numbers in the tables; more than any photo supports."
    )
    overlay_long_side_px: int = Field(2000, ge=400, le=20000, description="Long side of the pictures in `overlays/`.")
    overlay_quality: int = Field(88, ge=40, le=100, description="JPEG quality of the pictures in `overlays/`.")
    report_long_side_px: int = Field(
        1400, ge=300, le=8000, description="Long side of the pictures inside `report.html`."
    )
    report_quality: int = Field(78, ge=30, le=100, description="JPEG quality of the pictures inside `report.html`.")
    report_max_mb: float = Field(
        2.8,
        ge=0.2,
        le=1000,
        description="Pictures in `report.html` are made smaller until the file takes no more megabytes than this, so "
        "that it can be sent by mail; text is never cut for it.",
    )
    report_light_quality: int = Field(55, ge=20, le=100, description="WebP quality of pictures made smaller for that.")
    report_least_side_px: int = Field(600, ge=100, le=8000, description="Long side below which none is made smaller.")
    report_trays_max: int = Field(
        200,
        ge=1,
        le=10000,
        description="Photos shown in `report.html`, the first ones; the tables hold all of them.",
    )
    mask_cover_min: float = Field(
        0.2,
        ge=0.05,
        le=0.95,
        description="Share of a pixel, in linear light, that must be plant to be marked in `masks/`. On dark ground a "
        "fifth looks half-way on a screen (0.5 to the power 2.2), which is where a person would draw the outline.",
    )
    mask_png_compression: int = Field(3, ge=0, le=9, description="PNG compression of `masks/`: 0 fast, 9 small.")
    top_picks: int = Field(10, ge=0, le=1000, description="Picks named in the summary on the screen.")
    language: str = Field(
        "en", pattern="^[a-zA-Z_]{2,12}$", description="Language of report, pick lists and sheets; tables keep English."
    )
