"""How finely a photo is decoded and measured: the adjustable numbers of the map step."""

from __future__ import annotations

import math

from pydantic import BaseModel, ConfigDict, Field


class ScaleSettings(BaseModel):
    """How finely a photo is decoded and measured."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    seedling_mm_per_px: float = Field(0.42, ge=0.05, le=2, description="Grid on which seedlings are measured.")
    finish_mm_per_px: float = Field(0.5, ge=0.05, le=2, description="Grid on which plants near harvest are measured.")
    mat_mm_per_px: float = Field(0.5, ge=0.05, le=2, description="Grid on which mats of shoots are measured.")
    tray_fill_share: float = Field(
        0.8,
        ge=0.1,
        le=1,
        description="Share of the picture's long side that the tray is first taken to fill; when it fills less and "
        "comes out too coarse, the photo is decoded once more at a finer scale.",
    )
    coarser_allowed: float = Field(
        1.15, ge=1, le=4, description="Decoding is repeated when the scale is coarser than needed by more than this."
    )
    margin_mm: float = Field(
        30.0, ge=0, le=500, description="Strip around the tray that is looked at for leaves that hang over the rim."
    )
    native_megapixels: float = Field(
        1.2,
        ge=0.1,
        le=50,
        description="A tray that fits on a grid of this size is measured as finely as the photo shows it.",
    )
    choose_px: int = Field(
        1600, ge=400, le=12_000, description="Long side of the picture in which a layout is chosen where none is named."
    )
    doubtful_mm_per_px: float = Field(
        0.7, ge=0.05, le=10, description="A photo coarser than this is called doubtful: small plants cover few pixels."
    )

    def needed(self, stage: str, *, seen_mm2: float) -> float:
        """Millimetres per pixel needed for a stage (seedlings' for an empty one) when `seen_mm2` are looked at."""
        affordable = math.sqrt(seen_mm2 / (self.native_megapixels * 1e6))
        return min(affordable, self._of(stage))

    def _of(self, stage: str) -> float:
        return {"finish": self.finish_mm_per_px, "mat": self.mat_mm_per_px}.get(stage, self.seedling_mm_per_px)
