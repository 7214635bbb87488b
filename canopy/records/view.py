"""A saved view: where a tray lies in the photos of a camera that does not move, and a small picture to check it by."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from canopy.records.layout import Layout


class SavedView(BaseModel):
    """Corners of a tray as one fixed camera sees it, and what that camera saw when they were saved."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$", description="Name in the tray list.")
    width_px: int = Field(ge=1, le=100_000, description="Width of the upright full-size photo.")
    height_px: int = Field(ge=1, le=100_000, description="Height of it.")
    corners_px: tuple[tuple[float, float], tuple[float, float], tuple[float, float], tuple[float, float]] = Field(
        description="Outline corners 0..3 in pixels of that photo, clockwise from A1's corner."
    )
    k1: float = Field(0.0, ge=-1, le=1, description="Radial lens term, radius in halves of the picture's diagonal.")
    layout: Layout = Field(description="Layout of the tray that was seen.")
    saved_from: str = Field("", description="Photo that the view was saved from.")
    located_by: str = Field("", description="How the tray was found in it.")
    picture: bytes = Field(repr=False, description="That photo made small, as a JPEG file.")
