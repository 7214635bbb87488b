"""Reading photos: the adjustable numbers of this room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class PhotoSettings(BaseModel):
    """Reading photos."""

    model_config = ConfigDict(frozen=True, extra="forbid")
