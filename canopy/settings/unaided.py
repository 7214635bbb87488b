"""Finding a tray without markers: the adjustable numbers."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class UnaidedSettings(BaseModel):
    """Finding a tray by its outline and its grid of cells."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    seen_from: float = Field(0.5, ge=0.1, le=0.9, description="Probability from which a pixel counts as this tray.")
    min_area_share: float = Field(0.03, ge=0.001, le=0.5, description="A tray fills at least this share of a picture.")
    aspect_log: float = Field(
        0.25, ge=0.05, le=1, description="Largest logarithm of seen over true width : height (tilt shortens one)."
    )
    px_per_pitch: float = Field(
        16.0, ge=8, le=64, description="Pixels per pitch of the straightened picture in which cells are compared."
    )
    most_straight_px: int = Field(640, ge=200, le=4000, description="Longest side of that picture.")
    first_reach: float = Field(
        0.4, ge=0.1, le=0.5, description="How far from its place each cell is sought at first, in pitches."
    )
    reach: float = Field(0.25, ge=0.05, le=0.5, description="The same in later rounds.")
    agree_within: float = Field(
        0.1, ge=0.01, le=0.3, description="A cell found this near to its place, in pitches, agrees with the grid."
    )
    min_cells: int = Field(6, ge=4, le=1000, description="Cells that must agree before the grid moves the mapping.")
    min_share: float = Field(0.35, ge=0.1, le=1, description="Share of cells that must agree before it does.")
    firmness: float = Field(
        0.3, ge=0, le=1, description="Agreement of the cells (1: all in place, 0: chance) below which it is doubtful."
    )
    # 96 layouts with a row or column more or fewer, laid over 12 drawn trays: all with firmness below 0.3 came out at
    # least 0.3 pitches apart; right ones at most 0.2.
    backed_firmness: float = Field(
        0.2, ge=0, le=1, description="The same where outline and sides' cells speak for the fit."
    )
    backed_side: float = Field(
        0.9,
        ge=0,
        le=2,
        description="They do when the sides' cells are this alike and outline and grid surely together.",
    )
    shift_pitch: float = Field(
        0.22, ge=0.05, le=0.5, description="Middles of outline and grid may lie this far apart, in pitches."
    )
    # Grids laid half a pitch beside: 95 % below 0.79; rightly laid ones: 98 % above 0.80 (80 drawn trays).
    weakest_side: float = Field(
        0.78, ge=0, le=1, description="Likeness of one side's cells, over that of all, below which a fit is doubtful."
    )
    surely_shift: float = Field(
        0.12, ge=0, le=0.5, description="Outline and grid closer than this, in pitches: no other place is tried."
    )
    surely_side: float = Field(0.82, ge=0, le=1, description="Sides' cells more alike than this: the same.")
    surely_apart: float = Field(
        0.13,
        ge=0,
        le=1,
        description="Outline and grid no farther apart than this (shift plus half the excess, in pitches) need no "
        "likeness of their sides' cells.",
    )
    # At 5, two of those 96 layouts were accepted for a grid a quarter of a pitch beside its outline.
    side_per_apart: float = Field(
        7.0, ge=0, le=100, description="Likeness of sides' cells needed per pitch farther apart, up to `weakest_side`."
    )
    # Over 240 pairs of a drawn tray and a layout with one to four rows or columns more or fewer, 2 % of those that
    # looked like a grid came below 0.7.
    excess_pitch: float = Field(
        0.55, ge=0.1, le=2, description="The outline may be larger or smaller than the grid by this, in pitches."
    )
    # Plants and medium lie at other heights than the rim, which bends a grid of cells a little as a lens does.
    lens_f_min: float = Field(
        30.0, ge=0, le=10000, description="The lens term is kept only if it lowers the cells' residual by this F ratio."
    )
    period_within: float = Field(
        0.12, ge=0.01, le=0.4, description="How far the picture's period may differ from the outline's, as a share."
    )
    parted_from: float = Field(
        0.4, ge=0.1, le=0.9, description="Probability of an outline from which it parts two trays of one picture."
    )
    beside_share: float = Field(
        0.6, ge=0.3, le=1, description="Trays that share this much of their height lie beside each other."
    )
    above_share: float = Field(
        0.25, ge=0, le=0.5, description="Trays that share no more of their height than this lie above each other."
    )
    room_share: float = Field(
        0.15, ge=0.02, le=1, description="Room left around one of several trays, as a share of its size."
    )
    choose_within: float = Field(
        0.02, ge=0, le=0.1, description="How far off a layout's pitch the picture may repeat when layouts are ranked."
    )
    most_grids: int = Field(
        4, ge=1, le=50, description="Grids (rows x columns) that are tried when no layout is named, likeliest first."
    )
    rank_gap: float = Field(
        0.1, ge=0, le=2, description="Grids that repeat less well than the likeliest by more than this are not tried."
    )
    rank_px_per_pitch: float = Field(
        12.0, ge=8, le=64, description="Pixels per pitch of the picture in which layouts are ranked."
    )
    finer_share: float = Field(
        0.5,
        ge=0.1,
        le=1,
        description="A layout is not believed where the picture repeats at a half or a third of its pitch this much as "
        "well as at the pitch.",
    )
    finer_from: float = Field(
        0.04, ge=0, le=1, description="Repeating at a part of the pitch less clearly than this is chance."
    )
    grids_apart: float = Field(
        0.4, ge=0, le=5, description="Among layouts of different grids, the best must fit better by this, in pitches."
    )
    clearly_alike: float = Field(
        0.15, ge=0, le=1, description="Layouts whose cells are less alike than the best one's by this are left out."
    )
    clearly_apart: float = Field(
        0.35, ge=0, le=2, description="Among layouts of one grid, the best outline must fit better by this, in pitches."
    )
    # Where the rim stands out: 0.9 to 1.0 at the right outline's sides, 0.02 to 0.1 at the wrong one's; elsewhere both
    # lie between 0.1 and 1.
    rim_edge: float = Field(
        0.8, ge=0, le=1, description="Or else each of its sides must be at least this clear, over all edges near by."
    )
    no_rim_edge: float = Field(
        0.3, ge=0, le=1, description="And the sides of the other layouts no clearer than this on average."
    )
    stretch_weight: float = Field(
        4.0, ge=0, le=50, description="Pitches that a stretch no camera makes counts for, per unit of its logarithm."
    )
    period_strength: float = Field(
        2.0, ge=1, le=100, description="The period is believed when its power is this much over the usual."
    )
