"""Plant or not, and whose leaf: the adjustable numbers of this room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class ScaleByStage(BaseModel):
    """Millimetres per pixel at which the network sees the tray, by stage."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    seedling: float = Field(0.5, ge=0.1, le=5, description="Scale for seedlings, mm per pixel.")
    finish: float = Field(0.6, ge=0.1, le=5, description="Scale for plants near harvest, mm per pixel.")
    mat: float = Field(0.6, ge=0.1, le=5, description="Scale for mats of shoots, mm per pixel.")

    def at(self, stage: str) -> float:
        """Value for a stage; that of seedlings, the finest, for an empty stage."""
        return {"finish": self.finish, "mat": self.mat}.get(stage, self.seedling)


class AreaByStage(BaseModel):
    """Smallest connected piece of canopy that is believed, by stage."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    seedling: float = Field(2.0, ge=0, le=1000, description="Smallest piece among seedlings, mm².")
    finish: float = Field(20.0, ge=0, le=10000, description="Smallest piece among plants near harvest, mm².")
    mat: float = Field(3.0, ge=0, le=1000, description="Smallest piece in a mat of shoots, mm².")

    def at(self, stage: str) -> float:
        """Value for a stage; that of seedlings for an empty stage."""
        return {"finish": self.finish, "mat": self.mat}.get(stage, self.seedling)


class SegmentSettings(BaseModel):
    """Plant or not, and whose leaf."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    feed_mm_per_px: ScaleByStage = Field(
        default_factory=ScaleByStage, description="Scale at which the network sees the tray."
    )
    feed_max_megapixels: float = Field(
        0.9, ge=0.05, le=20, description="The network's picture is shrunk further to stay below this size."
    )
    feed_min_megapixels: float = Field(
        0.15, ge=0.01, le=5, description="The network's picture is kept, or enlarged, to at least this size."
    )
    agreement_floor: float = Field(
        0.6, ge=0, le=1, description="Below this Dice with the colour classifier the reading says so."
    )
    min_piece_mm2: AreaByStage = Field(
        default_factory=AreaByStage, description="Smallest connected piece of canopy that is believed."
    )
    peak_probability: float = Field(
        0.65, ge=0.5, le=1, description="A piece of canopy must reach this probability somewhere to be believed."
    )
    hole_mm2: float = Field(
        20.0, ge=0, le=1000, description="Holes up to this size are filled where the colour classifier sees plant."
    )
    edge_band_mm: float = Field(
        1.5, ge=0, le=20, description="Half width of the band along the network's outline where colours set the edge."
    )
    edge_window_mm: float = Field(
        3.0, ge=0.5, le=50, description="Half width of the window in which leaf and ground colours are averaged."
    )
    edge_depth_px: float = Field(
        3.0, ge=1, le=20, description="Depth behind the outline, network pixels, from where on colours count as pure."
    )
    edge_depth_step_px: float = Field(
        0.45,
        ge=0.1,
        le=10,
        description="Depth, network pixels, over which a pixel's say in a mean colour grows e-fold.",
    )
    leaf_window_mm: float = Field(
        48.0, ge=1, le=1000, description="Half width of the wider window whose leaves also tell the colour of leaf."
    )
    leaf_prior_px: float = Field(
        10.0, ge=0, le=1000, description="Say of the wider window, as of so many pure pixels of leaf nearby."
    )
    edge_zone_px: int = Field(
        2, ge=1, le=10, description="Pixels on either side of the refined outline that may be covered in part."
    )
    contrast_none: float = Field(
        0.06,
        ge=0,
        le=1,
        description="Contrast |leaf − ground| / |leaf + ground|, linear light, where colour is no help.",
    )
    contrast_full: float = Field(
        0.18, ge=0.001, le=1, description="The same contrast from where on colour alone sets the edge."
    )
    light_exponent: float = Field(
        1.25,
        ge=1,
        le=3,
        description="Power of code values in which edge pixels mix: 2.2 is light, in which lenses mix; 1 is code "
        "values, in which decoder and resampling average finer pixels. Photos on the measuring grid are in between.",
    )
    shading_weight: float = Field(
        0.05, ge=0.001, le=10, description="How little light and shade may vary near an edge; large: not at all."
    )
    edge_slack: float = Field(
        3.0, ge=0, le=10, description="Spread of pure colours, standard deviations, not taken for part cover."
    )
    edge_raise: float = Field(
        1.5, ge=1, le=100, description="Colours raise a pixel's share of leaf to this many times the network's at most."
    )
    edge_doubt: float = Field(
        0.2, ge=0, le=0.5, description="Standard uncertainty of a half-covered pixel, from where the edge lies."
    )
    split_mm_per_px: float = Field(
        1.0, ge=0.2, le=10, description="Scale at which canopies are divided between cells, mm per pixel."
    )
    overhang_reach: float = Field(
        0.5, ge=0, le=3, description="How far beyond the outline leaves are looked for, as a share of the pitch."
    )
    stray_reach: float = Field(
        0.55,
        ge=0.1,
        le=3,
        description="A loose piece this many pitches off the centre of an unplanted cell is no plant.",
    )
    offcentre_reach: float = Field(
        0.4, ge=0.05, le=1, description="Votes must gather within so many pitches of a cell's centre to plant it."
    )
    standing_reach: float = Field(
        0.35, ge=0.05, le=2, description="A plant shows some canopy within so many pitches of its cell's centre."
    )
    standing_px: int = Field(
        3, ge=1, le=100, description="Pixels of the splitting scale that this takes where plants touch."
    )
    outside_reach: float = Field(
        0.35, ge=0, le=3, description="Canopy centred further outside the outline, pitches, is another tray's."
    )
    vote_smooth_px: int = Field(
        1, ge=0, le=10, description="Votes for roots are averaged over the canopy this many pixels around each place."
    )
    vote_sd: float = Field(
        0.3, ge=0.01, le=2, description="Spread of votes around their root, pitches, where leaves of plants meet."
    )
