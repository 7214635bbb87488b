"""Locating the tray: the adjustable numbers of this room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class TraySettings(BaseModel):
    """Locating the tray."""

    model_config = ConfigDict(frozen=True, extra="forbid")
