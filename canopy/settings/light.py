"""Light on the tray: what its colour and evenness are read from, and how far they are corrected."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from canopy.records import ColourCard


class GainSettings(BaseModel):
    """Uneven light over the tray, read from what repeats from cell to cell: rim and medium."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    enabled: bool = Field(True, description="Take uneven light out of the colour indices; areas never change.")
    bins_per_cell: int = Field(
        12, ge=2, le=30, description="Parts of a cell a side; like parts of all cells are compared."
    )
    clear_mm: float = Field(
        2.0, ge=0, le=50, description="Ground nearer to a plant than this is left out: shade, and leaf seen through."
    )
    bin_share_min: float = Field(
        0.8, ge=0.01, le=1, description="Share of a part that must be clear ground for it to be looked at."
    )
    bins_min: int = Field(60, ge=10, le=10000, description="Fewest clear parts that a field is fitted to.")
    bins_max: int = Field(2500, ge=100, le=100000, description="Most clear parts that a field is fitted to, for speed.")
    waves: int = Field(
        7, ge=1, le=12, description="Half waves along the longer side of the tray up to which light may change."
    )
    smoothness: float = Field(
        0.1, ge=0, le=1000, description="Weight of the field's bending against its misfit; more makes it smoother."
    )
    colour_smoothness: float = Field(
        3.0, ge=0, le=1000, description="The same for how the colour of the light changes, which is slower."
    )
    robust_sds: float = Field(
        1.5, ge=0.5, le=10, description="Parts further off than so many standard deviations count less (Huber)."
    )
    explained_min: float = Field(
        0.2, ge=0, le=1, description="Share of the ground's unevenness that the field must foretell in cells left out."
    )
    amplitude_min: float = Field(
        0.05, ge=0, le=1, description="A field that changes less than this (standard deviation of ln) is not used."
    )
    said_from: float = Field(
        0.15, ge=0, le=3, description="Uneven light (standard deviation of ln) from which the reading says so."
    )


class CoveredSettings(BaseModel):
    """Things over the tray that are neither plant nor tray: hands, hoses, tools, paper."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    enabled: bool = Field(True, description="Look for things over cells; those cells are to be inspected.")
    bins_per_cell: int = Field(6, ge=3, le=20, description="Parts of a cell a side that are compared with like parts.")
    clear_mm: float = Field(1.0, ge=0, le=50, description="Ground nearer to a plant than this is left out.")
    part_share_min: float = Field(0.5, ge=0.01, le=1, description="Share of a part that must be clear of plants.")
    like_min: int = Field(6, ge=3, le=1000, description="Fewest like parts that tell what is usual.")
    like_share_min: float = Field(0.15, ge=0, le=1, description="The same as a share of the cells.")
    lightness_weight: float = Field(
        0.5, ge=0, le=1, description="Weight of lightness beside colour in how far a part is off; shadows are dark."
    )
    odd_de: float = Field(8.0, ge=1, le=100, description="A part is odd when it is further off than this (CIELAB)...")
    odd_spreads: float = Field(4.0, ge=1, le=50, description="... and than so many usual deviations of like parts.")
    width_min_mm: float = Field(8.0, ge=1, le=200, description="Narrowest thing that is told of; a finger is wider.")
    area_min_mm2: float = Field(800.0, ge=10, le=1e6, description="Smallest thing that is told of.")
    rim_parts_min: int = Field(6, ge=1, le=1000, description="It must hide so many parts of the cells' edges,")
    rim_odd_min: float = Field(0.7, ge=0, le=1, description="and this share of the edges under it must look odd.")
    cell_share_min: float = Field(0.08, ge=0.01, le=1, description="Share of a cell under it from which it is told.")


class LightSettings(BaseModel):
    """Colour of the light and its correction, for colour indices alone."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    card: str = Field("", description="Name of the colour card that lies by every tray; empty: none.")
    card_x_mm: float = Field(
        0.0, ge=-5000, le=5000, description="The card's top left corner from the tray's corner by A1, along row A."
    )
    card_y_mm: float = Field(
        -80.0, ge=-5000, le=5000, description="The card's top left corner from the tray's corner by A1, down the tray."
    )
    card_turn_deg: float = Field(
        0.0, ge=-360, le=360, description="How far the card is turned clockwise about its top left corner."
    )
    cards: tuple[ColourCard, ...] = Field(
        (), description="Own cards: name, patch_mm, source, patches (x_mm, y_mm, lab)."
    )
    patch_share: float = Field(0.6, ge=0.1, le=1, description="Inner share of a patch's side that is looked at.")
    patch_points: int = Field(15, ge=3, le=100, description="Points a side at which a patch is looked at.")
    patch_spread_max: float = Field(
        0.15, ge=0.01, le=1, description="A patch whose luminance differs by more than this share is shaded: left out."
    )
    patch_clipped_max: float = Field(
        0.05, ge=0, le=1, description="A patch with a larger share of clipped points is left out."
    )
    patch_outlier_de: float = Field(
        10.0, ge=1, le=50, description="A patch this far (CIEDE2000) from what all others foretell is left out."
    )
    card_doubtful_de: float = Field(
        6.0, ge=1, le=30, description="Colour is not judged when the card's left-out median (CIEDE2000) is larger."
    )
    white_from_markers: bool = Field(
        True, description="Without a card the white of the corner markers is taken for white."
    )
    marker_contrast_min: float = Field(
        2.0,
        ge=1.1,
        le=20,
        description="White of a marker must be so many times as light as its black, in linear light.",
    )
    balance_max: float = Field(
        4.0,
        ge=1,
        le=30,
        description="Light is beyond repair when one channel needs more than so many times another's gain.",
    )
    gain: GainSettings = Field(default_factory=GainSettings, description="Uneven light over the tray.")
    covered: CoveredSettings = Field(default_factory=CoveredSettings, description="Hands and tools over the tray.")
