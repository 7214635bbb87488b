"""Following the saved view of a fixed camera: the adjustable numbers."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class ViewSettings(BaseModel):
    """Following the saved view of a fixed camera."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    picture_long_side_px: int = Field(800, ge=300, le=2000, description="Long side of the picture kept with a view.")
    picture_quality: int = Field(92, ge=50, le=100, description="JPEG quality of that picture.")
    follow_share: float = Field(
        0.05, ge=0, le=0.2, description="Corners that moved farther than this, as a share of the width, are refused."
    )
    max_shape_change: float = Field(
        0.08, ge=0.01, le=0.5, description="Sides of the outline may grow or shrink by this share."
    )
    features: int = Field(1500, ge=100, le=20_000, description="Most features looked for in each picture.")
    feature_threshold: int = Field(7, ge=1, le=100, description="Contrast from which a corner is a feature.")
    ratio: float = Field(
        0.85, ge=0.3, le=1, description="A match counts when its distance is below this share of the second best one's."
    )
    inlier_px: float = Field(
        2.5, ge=0.5, le=10, description="Matches nearer than this to the common movement agree with it."
    )
    min_inliers: int = Field(20, ge=8, le=1000, description="Matches that must agree.")
    min_inlier_share: float = Field(0.3, ge=0.05, le=1, description="Share of the matches that must agree.")
    green_from: float = Field(
        0.06, ge=0, le=1, description="Excess green from which a pixel is left out, since plants grow."
    )
    rim_points: int = Field(40, ge=8, le=400, description="Places looked at along each side of the outline.")
    rim_patch_px: int = Field(9, ge=3, le=40, description="Half side of the patch compared at each of them.")
    rim_reach_px: float = Field(7.0, ge=1, le=40, description="How far across a side the rim is looked for.")
    rim_likeness: float = Field(
        0.6, ge=0, le=1, description="Correlation from which a place of the rim is found again."
    )
    rim_within_px: float = Field(1.5, ge=0.2, le=10, description="Places nearer than this to the side's line agree.")
    rim_share: float = Field(0.3, ge=0.05, le=1, description="Share of a side's places that must agree.")
    rim_apart_px: float = Field(
        2.0, ge=0, le=20, description="Where one side is hidden, the others must lie this near to where they should."
    )
