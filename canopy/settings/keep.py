"""How long pictures are kept; readings are kept for ever."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class KeepSettings(BaseModel):
    """After how many days `canopy tidy` may delete pictures; 0: never."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    photos_days: float = Field(
        0.0,
        ge=0,
        le=36500,
        description="Days after which a photo may go whose readings are in the store; they cannot be made anew then.",
    )
    overlays_days: float = Field(
        0.0, ge=0, le=36500, description="Days after which overlays and masks of results in the farm folder may go."
    )
