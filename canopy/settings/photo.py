"""Reading photos: the adjustable numbers of this room."""

from __future__ import annotations

import re

from pydantic import BaseModel, ConfigDict, Field, field_validator

_DAY = r"(?P<year>(?:19|20)\d\d)[-_.]?(?P<month>\d\d)[-_.]?(?P<day>\d\d)"
_NAME_PATTERNS = (
    # IMG_20260412_053012, PXL_20260412_053012345, 2026-04-12_05-30-12, 2026-04-12T0530, 20260412-0530, 2026-04-12 05.30
    rf"(?<!\d){_DAY}[-_ T.]?(?P<hour>\d\d)[-_.:h]?(?P<minute>\d\d)(?:[-_.:m]?(?P<second>\d\d)(?:\d{{3}})?)?(?!\d)",
    # 20260412, 2026-04-12: the day alone, taken as its first minute
    rf"(?<!\d){_DAY}(?!\d)",
)


class PhotoSettings(BaseModel):
    """Reading photos."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    # 178 megapixels is where Pillow itself refuses a file, whatever is asked of it.
    max_megapixels: float = Field(
        100.0, ge=1, le=178, description="A picture that claims more pixels than this is refused before it is decoded."
    )
    min_side_px: int = Field(
        64, ge=2, le=4000, description="A picture whose shorter side has fewer pixels than this is refused."
    )
    matte_code: int = Field(
        128, ge=0, le=255, description="Grey sRGB code that see-through pixels are laid on (alpha channels)."
    )
    name_patterns: tuple[str, ...] = Field(
        _NAME_PATTERNS,
        description="Regular expressions that find the capture time in a file name, first match of a real date wins; "
        "groups year, month, day and, if known, hour, minute, second.",
    )
    file_date: bool = Field(
        True,
        description="Take the file's date where neither photo nor file name says when it was taken; false: the time is "
        "unknown. Copying may change a file's date, and with it the age of the plants.",
    )
    max_blur_mm: float = Field(
        1.0,
        ge=0.05,
        le=10,
        description="Edge blur (standard deviation of the point spread in mm at the rim) above which a photo is "
        "refused; small cotyledons are 2 mm wide.",
    )
    max_blur_px: float = Field(
        1.6,
        ge=0.5,
        le=20,
        description="Edge blur in pixels up to which a photo is never called blurred, however coarse its scale.",
    )
    blur_mm_per_px: float = Field(
        0.5,
        ge=0.05,
        le=2,
        description="Finer pictures are shrunk to about this scale before blur is read; noise then counts for little.",
    )
    blur_calm_px: float = Field(
        0.8,
        ge=0.1,
        le=3,
        description="Standard deviation in pixels of the smoothing against noise before edges are read.",
    )
    blur_probe_px: float = Field(
        2.0, ge=0.7, le=5, description="Standard deviation in pixels of the known blur added to measure edge blur."
    )
    blur_edge_share: float = Field(
        0.003,
        ge=0.0001,
        le=0.2,
        description="Share of a picture's pixels, the strongest edges, that blur is read from.",
    )
    blur_pool: float = Field(
        16.0,
        ge=1,
        le=100,
        description="How many times that share is looked at, so that every direction finds its edges.",
    )
    blur_quantile: float = Field(
        0.3,
        ge=0.05,
        le=0.95,
        description="Of one direction's edges, this quantile of blur counts: some strong edges are soft shadows.",
    )
    blur_edge_codes: float = Field(
        16.0, ge=1, le=1000, description="Weakest edge (3 × 3 Sobel of the smoothed picture) that blur is read from."
    )
    blur_edge_min: int = Field(
        40, ge=5, le=10000, description="Fewest edge pixels of one direction that blur is read from."
    )
    motion_ratio: float = Field(
        1.8,
        ge=1.1,
        le=10,
        description="A soft picture is called moved, not out of focus, when one direction is so many times as soft as "
        "another.",
    )
    glare_mm_per_px: float = Field(1.0, ge=0.1, le=10, description="Grid on which mirrored lamps are looked for.")
    glare_spot_mm: float = Field(15.0, ge=1, le=200, description="Widest spot that counts as a mirrored lamp.")
    glare_code: int = Field(
        235, ge=100, le=255, description="All channels of a mirrored lamp are at or above this code."
    )
    glare_step: int = Field(
        80, ge=1, le=255, description="A mirrored lamp is lighter than its ground by this many codes."
    )
    glare_share: float = Field(
        0.05, ge=0, le=1, description="Share of the tray under mirrored lamps above which the photo is remarked on."
    )
    max_tilt_good_deg: float = Field(
        18.0, ge=0, le=80, description="A tray seen at a larger tilt is measured and remarked on."
    )
    shown_share_min: float = Field(
        0.5, ge=0, le=1, description="A photo that shows less than this share of the tray is refused."
    )
    shown_share_good: float = Field(
        0.98, ge=0, le=1, description="A photo that shows less than this share of the tray is remarked on."
    )
    seedling_max_mm_per_px: float = Field(
        1.3, ge=0.05, le=20, description="A photo of seedlings (or of unknown stage) coarser than this is refused."
    )
    finish_max_mm_per_px: float = Field(
        2.5, ge=0.05, le=20, description="A photo of plants near harvest coarser than this is refused."
    )
    mat_max_mm_per_px: float = Field(2.0, ge=0.05, le=20, description="A photo of a mat coarser than this is refused.")
    unclear_doubt: float = Field(
        0.75,
        ge=0.05,
        le=100,
        description="Doubt of what is plant, summed over the tray, as a share of the canopy seen: above this the photo "
        "is refused (said only, in purple light, or with little canopy).",
    )
    unclear_plant_doubt: float = Field(
        0.12,
        ge=0,
        le=100,
        description="And the same on the plants alone must be above this; ground in doubt beside them is no harm.",
    )
    doubt_said_from: float = Field(0.4, ge=0.01, le=100, description="The same, from which it is said.")
    unclear_cover_min: float = Field(
        0.01, ge=0, le=1, description="With less canopy than this share of the tray the photo is not refused for doubt."
    )
    twin_bits: int = Field(
        12,
        ge=0,
        le=64,
        description="Two photos of a tray of one time are copies when their fingerprints differ in at most so many of "
        "256 bits.",
    )
    untimed_twin_bits: int = Field(
        4, ge=0, le=64, description="The same where a photo does not say when it was taken; a fixed camera sees alike."
    )
    sharpness_mm_per_px: float = Field(
        0.5, ge=0.05, le=5, description="Scale at which the Laplacian variance is taken, so that photos compare."
    )
    clipped_code: int = Field(250, ge=200, le=255, description="A channel at or above this code counts as clipped.")
    black_code: int = Field(5, ge=0, le=50, description="A pixel whose channels are all at or below this code is lost.")
    clipped_plant_share: float = Field(
        0.01, ge=0, le=1, description="Share of clipped plant pixels above which the photo is remarked on."
    )
    clipped_picture_share: float = Field(
        0.15, ge=0, le=1, description="Share of clipped pixels of a whole picture above which it is remarked on."
    )
    dark_code: float = Field(
        60.0, ge=0, le=255, description="The photo is called dark when 90 % of its pixels are below this grey code."
    )
    purple_green_ratio: float = Field(
        0.35, ge=0.05, le=0.5, description="Purple light: green/(red + blue) of bright pixels stays below this."
    )
    purple_quantile: float = Field(
        0.9, ge=0.5, le=0.999, description="Which bright pixel, from least to most green, decides on purple light."
    )
    bright_share: float = Field(
        0.25, ge=0.01, le=1, description="Share of the pixels, the brightest, that the light's colour is read from."
    )
    neutral_chroma: float = Field(
        40.0, ge=5, le=80, description="CIELAB chroma below which a bright pixel may be a grey thing in coloured light."
    )
    neutral_share: float = Field(
        0.1, ge=0.01, le=1, description="Share of near-neutral among bright pixels needed to judge a cast."
    )
    cast_chroma: float = Field(
        25.0, ge=1, le=60, description="CIELAB chroma of near-neutral pixels above which light counts as coloured."
    )
    light_sample_px: int = Field(
        60000, ge=1000, le=10_000_000, description="About how many pixels the light and clipping are judged from."
    )

    @field_validator("name_patterns")
    @classmethod
    def _patterns_name_a_day(cls, patterns: tuple[str, ...]) -> tuple[str, ...]:
        for pattern in patterns:
            try:
                groups = re.compile(pattern).groupindex
            except re.error as error:
                raise ValueError(f"`{pattern}` is not a regular expression: {error}; correct it") from None
            if not {"year", "month", "day"} <= set(groups):
                raise ValueError(f"`{pattern}` lacks a group; name the groups year, month and day as (?P<year>...)")
        return patterns
