"""Tables, pictures, report: the adjustable numbers of this room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class OutputSettings(BaseModel):
    """Tables, pictures, report."""

    model_config = ConfigDict(frozen=True, extra="forbid")
