"""Locating the tray: the adjustable numbers of this room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from canopy.settings.unaided import UnaidedSettings
from canopy.settings.view import ViewSettings


class TraySettings(BaseModel):
    """Locating the tray."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    search_long_side_px: int = Field(
        1280, ge=200, le=8000, description="Markers are searched for in a picture shrunk to this long side first."
    )
    quick_window_px: int = Field(
        9,
        ge=3,
        le=99,
        description="Side of the window against whose mean a pixel is black or white in the first search; the later "
        "ones try several.",
    )
    second_search_long_side_px: int = Field(
        2560, ge=200, le=8000, description="Long side of the second search, when markers are missing after the first."
    )
    min_marker_side_px: float = Field(
        10.0, ge=6, le=200, description="Smallest marker side, in the searched picture, that is looked at."
    )
    contrast_limit: float = Field(
        4.0, ge=1, le=40, description="Clip limit of the local contrast equalisation in the later tries."
    )
    contrast_tiles: int = Field(8, ge=1, le=64, description="Tiles per side of the local contrast equalisation.")
    sharpen_px: float = Field(
        2.0, ge=0.5, le=10, description="Standard deviation of the blur that the later tries undo (unsharp mask)."
    )
    sharpen_amount: float = Field(2.0, ge=0, le=10, description="Strength of the unsharp mask of the later tries.")
    refine_share: float = Field(
        0.6,
        ge=0.1,
        le=0.9,
        description="Half width of the corner refinement window as a share of one marker module (a sixth of the side).",
    )
    corner_sd_px: float = Field(
        0.1, ge=0.01, le=2, description="How well a marker corner's place is known; weighs it against what is usual."
    )
    swell_doubt: float = Field(
        0.2, ge=0, le=1, description="Share of a marker's swelling that its corners' places are uncertain by."
    )
    print_scale_sd: float = Field(
        0.03, ge=0, le=0.2, description="How far printed markers' size strays from the layout (printers scale)."
    )
    max_print_scale: float = Field(
        0.1, ge=0.01, le=0.5, description="Markers that look larger or smaller than the layout by more are doubtful."
    )
    lens_sd: float = Field(
        0.05, ge=0.001, le=1, description="Spread of the lens term k1 that cameras have; pulls the estimate toward 0."
    )
    # A missed lens term costs more than a spurious one: over 32 rendered trays (k1 within ±0.045) the 90th percentile
    # of the fit's error was 0.79 px with F 12, 0.60 px with 4, 0.36 px with 2 and with none.
    lens_f_min: float = Field(
        2.0, ge=0, le=1000, description="The lens term is kept only if it lowers the residual by this F ratio or more."
    )
    max_lens: float = Field(0.35, ge=0.01, le=1, description="A lens term beyond this is doubtful.")
    max_residual_of_side: float = Field(
        0.03, ge=0.001, le=0.3, description="Residual of the corners above this share of a marker's side is doubtful."
    )
    residual_floor_px: float = Field(
        0.6, ge=0.05, le=5, description="Residuals up to this many pixels are never doubtful."
    )
    residual_gap: float = Field(
        2.0,
        ge=1,
        le=20,
        description="A marker is dropped as misread only if the next best choice fits this much worse.",
    )
    max_axis_ratio: float = Field(
        1.6, ge=1.05, le=5, description="Scales along rows and columns may differ by this factor (tilt shortens one)."
    )
    min_mm_per_px: float = Field(0.005, gt=0, le=1, description="A finer scale than this is doubtful.")
    max_mm_per_px: float = Field(4.0, ge=0.1, le=50, description="A coarser scale than this is doubtful.")
    outside_share: float = Field(
        0.5, ge=0, le=5, description="Tray corners may lie outside the picture by this share of its size."
    )
    max_tilt_deg: float = Field(25.0, ge=1, le=80, description="A tray seen at a larger tilt is refused.")
    assumed_focal: float = Field(
        0.77,
        ge=0.2,
        le=5,
        description="Focal length in long sides of the picture when EXIF is silent (phone main lenses: 0.7 to 0.85).",
    )
    picture_aspect: float = Field(
        1.15,
        ge=1.0,
        le=3,
        description="Where the picture's border is the outline, width : height may differ from the layout's by this.",
    )
    shrink_from: float = Field(
        1.5, ge=1, le=4, description="A photo finer than the wanted grid by this factor is smoothed before resampling."
    )
    map_step_px: int = Field(
        16, ge=2, le=128, description="Spacing of the exactly computed points where a lens term bends the grid."
    )
    most_marked_trays: int = Field(
        4, ge=1, le=9, description="Markers of one id in a picture up to which trays are told apart by their markers."
    )
    unaided: UnaidedSettings = Field(default_factory=UnaidedSettings, description="Finding a tray that has no markers.")
    view: ViewSettings = Field(default_factory=ViewSettings, description="Following the saved view of a fixed camera.")
