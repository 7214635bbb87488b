"""Plant or not, and whose leaf: the adjustable numbers of this room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class SegmentSettings(BaseModel):
    """Plant or not, and whose leaf."""

    model_config = ConfigDict(frozen=True, extra="forbid")
