"""Score and decision: the adjustable numbers of this room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class ReadinessSettings(BaseModel):
    """Score and decision."""

    model_config = ConfigDict(frozen=True, extra="forbid")
