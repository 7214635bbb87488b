"""Areas, colours, evenness: the adjustable numbers of this room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class MeasureSettings(BaseModel):
    """Areas, colours, evenness."""

    model_config = ConfigDict(frozen=True, extra="forbid")
