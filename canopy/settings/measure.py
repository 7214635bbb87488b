"""Areas, colours, evenness: the adjustable numbers of this room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field, model_validator

from canopy.settings.light import LightSettings


class StageMeasureSettings(BaseModel):
    """What a plant of one stage is at least, and how high it may stand when nobody says."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    min_area_mm2: float = Field(4.0, gt=0, le=1e5, description="Least canopy area of a planted cell.")
    canopy_low_mm: float = Field(5.0, ge=0, le=3000, description="Lowest likely canopy top when its height is unknown.")
    canopy_high_mm: float = Field(60.0, ge=0, le=3000, description="Highest likely canopy top when it is unknown.")

    @model_validator(mode="after")
    def _low_below_high(self) -> StageMeasureSettings:
        if self.canopy_low_mm > self.canopy_high_mm:
            raise ValueError(
                f"canopy_low_mm {self.canopy_low_mm:g} is above canopy_high_mm {self.canopy_high_mm:g}; swap them"
            )
        return self


def _stage(min_area_mm2: float, low_mm: float, high_mm: float) -> StageMeasureSettings:
    return StageMeasureSettings(min_area_mm2=min_area_mm2, canopy_low_mm=low_mm, canopy_high_mm=high_mm)


class AreaSettings(BaseModel):
    """Area, its correction for height and its range."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    seedling: StageMeasureSettings = Field(_stage(2.0, 5.0, 60.0), description="Seedlings in plugs or cubes.")
    finish: StageMeasureSettings = Field(_stage(50.0, 30.0, 250.0), description="Heads and bunches near harvest.")
    mat: StageMeasureSettings = Field(_stage(25.0, 20.0, 200.0), description="Shoots sown as a mat.")
    unstated: StageMeasureSettings = Field(_stage(4.0, 5.0, 200.0), description="Used when no stage is given.")
    near_pitches: float = Field(
        0.6, ge=0.3, le=2, description="Some canopy must lie within this many pitches of the cell's centre, in x and y."
    )
    seen_min: float = Field(
        0.9, ge=0, le=1, description="A cell of which the photo shows less than this share is not measured."
    )
    leaf_level: float = Field(
        0.62,
        ge=0,
        le=1,
        description="Mean height of a plant's leaf area over the medium as a share of its top's; middle of 26 drawn "
        "trays of 12 crop types, which spread from 0.50 to 0.86.",
    )
    medium_below_rim_mm: float = Field(
        5.0, ge=0, le=200, description="How far the medium lies below the rim, from where plants grow up."
    )
    height_exponent: float = Field(
        0.28,
        ge=0,
        le=1,
        description="Height of the plants of one tray goes with their area to this power (middle of the same trays; "
        "0.5 if large plants were enlarged small ones).",
    )
    height_ratio_min: float = Field(0.4, gt=0, le=1, description="Lowest height of a plant relative to the median.")
    height_ratio_max: float = Field(1.5, ge=1, le=5, description="Greatest height of a plant relative to the median.")
    side_bare_mm: float = Field(
        11.0,
        ge=0,
        le=500,
        description="The lowest part of a stem, below its first leaves: no side shows there (fitted on drawn basil).",
    )
    side_from: float = Field(
        0.55,
        ge=0,
        le=10,
        description="A plant with leaves in tiers shows its side from obliquely above where it stands higher over its "
        "first leaves than this many of its widths (fitted on the same trays of drawn basil).",
    )
    side_sd: float = Field(
        0.2, ge=0, le=1, description="Standard uncertainty of how far plants are tiered, when the recipe says so."
    )
    side_unknown_sd: float = Field(
        0.5, ge=0, le=1, description="The same when no recipe says so and none is assumed: 2 of it reach full tiers."
    )
    lean_sd: float = Field(
        0.08,
        ge=0,
        le=1,
        description="Relative standard uncertainty of area per tangent of the slanting view and per height over width: "
        "single plants lean and part their leaves differently (spread of the same trays).",
    )
    height_max_share: float = Field(
        0.8, gt=0, lt=1, description="Leaves are taken to stand no higher than this share of the lens height."
    )
    camera_low_mm: float = Field(450.0, gt=0, le=20000, description="Lowest likely lens height when it is unknown.")
    camera_high_mm: float = Field(1500.0, gt=0, le=20000, description="Greatest likely lens height when it is unknown.")
    boundary_sd_px: float = Field(
        0.3, ge=0, le=5, description="Standard uncertainty of the outline's place, in pixels of the rectified tray."
    )
    doubt_weight: float = Field(
        0.8, ge=0, le=1, description="Share of the summed doubt of a plant's pixels that errs the same way."
    )
    disputed_sd: float = Field(
        3.0,
        ge=0,
        le=20,
        description="Standard uncertainty of area per area that may be a neighbour's: leaves go as a whole (spread on "
        "64 drawn trays).",
    )
    height_rel_sd: float = Field(
        0.4,
        ge=0,
        le=1,
        description="Relative standard uncertainty of the height of single plants' leaves, when the tray's is known "
        "(spread of the same trays).",
    )
    camera_rel_sd: float = Field(
        0.03, ge=0, le=1, description="Relative standard uncertainty of lens height, when known."
    )
    area_floor_rel_sd: float = Field(0.04, ge=0, le=1, description="Relative standard uncertainty that always remains.")
    range_level: float = Field(0.95, ge=0.5, le=0.999, description="Level of the area range.")

    def of_stage(self, stage: str) -> StageMeasureSettings:
        """Figures of `seedling`, `finish` or `mat`; those of `unstated` for an empty stage."""
        found = {"seedling": self.seedling, "finish": self.finish, "mat": self.mat, "": self.unstated}.get(stage)
        if found is None:
            raise ValueError(f"stage: got {stage!r}; use seedling, finish, mat or leave it empty")
        return found


class ColourSettings(BaseModel):
    """Which pixels tell a plant's colour, and what counts as yellow and brown."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    interior_cover: float = Field(
        0.95, ge=0.5, le=1, description="Plant share of a pixel from which its colour counts."
    )
    interior_min_px: int = Field(
        30, ge=1, le=10000, description="With fewer such pixels, all of the plant's pixels count that are mostly plant."
    )
    pixels_per_tray: int = Field(
        60_000,
        ge=1000,
        le=10_000_000,
        description="Evenly sampled pixels per tray for colour, shared among its cells.",
    )
    yellow_hue_low_deg: float = Field(80.0, ge=0, le=360, description="Yellow: CIELAB hue from here (own proposal) …")
    yellow_hue_high_deg: float = Field(105.0, ge=0, le=360, description="… to here.")
    yellow_chroma_min: float = Field(20.0, ge=0, le=150, description="Yellow: CIELAB chroma at least this.")
    yellow_lightness_min: float = Field(40.0, ge=0, le=100, description="Yellow: L* at least this.")
    brown_hue_low_deg: float = Field(40.0, ge=0, le=360, description="Brown: CIELAB hue from here (own proposal) …")
    brown_hue_high_deg: float = Field(80.0, ge=0, le=360, description="… to here.")
    brown_chroma_min: float = Field(10.0, ge=0, le=150, description="Brown: CIELAB chroma at least this …")
    brown_chroma_max: float = Field(45.0, ge=0, le=150, description="… and at most this.")
    brown_lightness_max: float = Field(70.0, ge=0, le=100, description="Brown: L* at most this.")
    dead_brown_min: float = Field(
        0.8, ge=0.5, le=1, description="A plant is dead (its cell empty) when this share of its pixels is brown."
    )
    dgci_valid_min: float = Field(
        0.5, ge=0, le=1, description="DGCI is given when this share of the pixels has a hue it is defined for."
    )
    texture_mm: float = Field(1.0, ge=0.1, le=20, description="Texture is read on a grid of this many millimetres …")
    texture_window: int = Field(3, ge=3, le=15, description="… in square windows this many steps wide.")


class PatternSettings(BaseModel):
    """When a difference between cells is called a pattern."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    permutations: int = Field(999, ge=99, le=99999, description="Permutations behind the p of Moran's I.")
    significance: float = Field(0.05, gt=0, lt=0.5, description="Greatest p of Moran's I that counts as a pattern.")
    share_min: float = Field(
        0.2, gt=0, lt=1, description="Share of variance from which rows, columns, edge or gradient are named."
    )
    account_p_max: float = Field(
        0.01, gt=0, lt=0.5, description="Greatest p (F test) with which rows, columns, edge or gradient are named."
    )
    gradient_preference: float = Field(
        0.8, gt=0, le=1, description="A gradient that explains this part of the best share is named instead of it."
    )
    weak_effect: float = Field(
        0.1, gt=0, lt=1, description="A row or column this far below (above) the middle is called weak (strong)."
    )
    min_plants: int = Field(8, ge=4, le=1000, description="Fewer plants than this show no pattern.")
    cluster_share_min: float = Field(
        0.85, gt=0.6, lt=1, description="Two sizes: part of the variance of ln area that the best split must explain."
    )
    cluster_size_min: float = Field(
        0.1, gt=0, le=0.5, description="Two sizes: least share of plants in the smaller one."
    )


class MeasureSettings(BaseModel):
    """Areas, colours, evenness."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    area: AreaSettings = Field(default_factory=AreaSettings, description="Area, height correction and range.")
    colour: ColourSettings = Field(default_factory=ColourSettings, description="Colour and texture of plants.")
    pattern: PatternSettings = Field(default_factory=PatternSettings, description="Patterns across the tray.")
    light: LightSettings = Field(default_factory=LightSettings, description="Colour and evenness of the light.")
