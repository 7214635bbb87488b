"""A crop recipe: targets and rules of one crop and stage, each figure with its source."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class CropRecipe(BaseModel):
    """Targets and rules for one crop and stage."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    crop: str = Field(min_length=1, description="Name used in the tray list.")
    stage: str = Field(pattern="^(seedling|finish|mat)$", description="Stage of the crop.")
