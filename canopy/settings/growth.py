"""Growth over days: the adjustable numbers of curves, history, forecast, weight and early trouble.

Where no source is named a figure is our own default; tune it on own trays.
"""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class ClockSettings(BaseModel):
    """The clock that growth runs by."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    base_c: float = Field(
        4.0,
        ge=-5,
        le=25,
        description="Temperature below which the crop stands still, °C; about 4 for lettuce, 10 basil.",
    )
    cap_c: float = Field(
        30.0, ge=10, le=45, description="Daily mean above which more warmth brings no more growth, °C."
    )
    usual_low_c: float = Field(18.0, ge=-5, le=45, description="Night temperature of a standard day, °C.")
    usual_high_c: float = Field(24.0, ge=-5, le=45, description="Day temperature of a standard day, °C.")
    recent_days: int = Field(5, ge=1, le=60, description="Days to come are taken as warm as the last so many.")
    least_pace: float = Field(
        0.05, gt=0, le=1, description="Least pace of days to come in standard days, when the last days were all cold."
    )


class CurveSettings(BaseModel):
    """Growth curves and what is expected of them before any photo."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    young_rate: float = Field(
        0.28,
        gt=0.01,
        le=1,
        description="Relative growth rate of area of a young plant, per day; middle of 0.20 to 0.35, the guide for "
        "days 5 to 14 (common practice, no source).",
    )
    young_share: float = Field(
        0.05,
        gt=0,
        lt=1,
        description="Share of the target area at which plants still grow at the young rate (Gompertz).",
    )
    final_over_target_seedling: float = Field(
        6.0, gt=1, le=100, description="Final area over the recipe's target area, seedlings."
    )
    final_over_target_finish: float = Field(
        1.6, gt=1, le=100, description="Final area over the recipe's target area, heads and bunches."
    )
    final_over_target_mat: float = Field(1.2, gt=1, le=100, description="Final cover over the recipe's, mats.")
    tray_final_sd: float = Field(
        0.35, gt=0, le=3, description="How far trays differ from the recipe in ln of final area, standard deviation."
    )
    tray_rate_sd: float = Field(
        0.25, gt=0, le=3, description="How far trays differ from the recipe in ln of rate, standard deviation."
    )
    tray_ready_sd: float = Field(
        5.0, gt=0, le=60, description="How far trays differ from the recipe in the day of the target area, days."
    )
    plant_final_sd: float = Field(
        0.2, gt=0, le=3, description="How far plants of a tray differ in ln of final area; where learning starts."
    )
    plant_rate_sd: float = Field(
        0.1, gt=0, le=3, description="How far plants of a tray differ in ln of rate; where learning starts."
    )
    plant_shift_sd: float = Field(
        1.0, gt=0, le=60, description="How far plants of a tray differ in timing, days; where learning starts."
    )
    prior_plants: float = Field(
        8.0, ge=4, le=1000, description="Plants that the three spreads above count for when a tray's own are learnt."
    )
    reading_sd_floor: float = Field(
        0.03, gt=0, le=1, description="Least standard deviation of ln area of one reading, whatever its range says."
    )
    reading_sd: float = Field(0.08, gt=0, le=2, description="Standard deviation of ln area of a reading without range.")
    range_factor: float = Field(
        1.96, ge=1, le=4, description="Standard deviations on either side in the range of an area that comes in."
    )
    tail_dof: float = Field(
        4.0, ge=2, le=1000, description="Degrees of freedom of Student's t for readings: low ones ignore bad readings."
    )
    prior_readings: float = Field(
        10.0, ge=0, le=1000, description="Readings that the stated uncertainty counts for when its true size is learnt."
    )
    photo_sd: float = Field(
        0.02,
        gt=0,
        le=1,
        description="Standard deviation of the error of ln area that all plants of one photo share (height, tilt, "
        "light, a thirsty hour). It is not learnt: a few photos cannot tell it from the tray's growth.",
    )
    photos_let_go: float = Field(
        0.3, ge=0, le=0.5, description="Share of a tray's photos that may be let go as off for all their plants."
    )
    odd_reading: float = Field(
        5.0, ge=2, le=20, description="A reading this many standard deviations off its curve is named as odd."
    )
    pinned_sd: float = Field(
        0.2,
        gt=0,
        le=2,
        description="A final area whose ln is less sure than this is said not to be pinned down by the readings.",
    )
    rounds: int = Field(25, ge=1, le=500, description="Rounds of learning plants and tray from each other, at most.")
    steps: int = Field(60, ge=5, le=1000, description="Steps of one curve fit, at most.")
    clear_choice: float = Field(
        6.0, ge=0, le=100, description="A curve is clearly the best when its BIC is this much below the next."
    )


class HistorySettings(BaseModel):
    """Readings of one tray lined up by cell over days."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    turned_before: float = Field(
        0.02, gt=0, lt=1, description="How often a tray is put back turned by 180°, before looking at its plants."
    )
    turned_sure: float = Field(
        0.99, gt=0.5, lt=1, description="How sure the pattern of plants must be before a turned photo is turned back."
    )
    independent_share: float = Field(
        0.5,
        gt=0,
        le=1,
        description="Share of cells that count as independent when patterns are compared: neighbours are alike.",
    )
    min_cells: int = Field(8, ge=4, le=1000, description="Fewer cells than this with a plant say nothing of turning.")
    loss_share: float = Field(
        0.5, gt=0, lt=1, description="A plant below this share of its last area has lost leaves; its curve starts anew."
    )


class ForecastSettings(BaseModel):
    """Days to come."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    level: float = Field(0.9, gt=0.5, lt=1, description="Share of truths that ranges are to hold.")
    draws: int = Field(400, ge=50, le=20000, description="Futures drawn per tray; ranges are their quantiles.")
    seed: int = Field(0, ge=0, le=2**31, description="Seed of the draws: the same readings give the same forecast.")
    doubt: float = Field(
        4.0,
        ge=1,
        le=100,
        description="Differences of BIC between curves count this many times less: none of the curves is quite true.",
    )
    drift_sd: float = Field(
        0.012,
        ge=0,
        le=0.5,
        description="Departure of a tray's ln area from its curve after a day ahead, standard deviation; it grows with "
        "the root of the days (weather, water, and curves that are not quite true).",
    )
    days: int = Field(14, ge=1, le=120, description="Days ahead in the table of numbers ready.")
    tray_share: float = Field(
        0.8, gt=0, le=1, description="Share of plants that must be ready before the tray counts as ready."
    )
    width_factor: float = Field(
        1.5,
        ge=1.27,
        le=10,
        description="Greatest width squared over area of a plant whose width was not measured; 1.27 is a disc.",
    )
    grams_outside_share: float = Field(
        0.05,
        ge=0,
        le=1,
        description="A day on which a greater share of the ready plants lies outside the weighed areas gets no grams.",
    )
    touch_days: int = Field(30, ge=1, le=120, description="Days ahead that touching of neighbours is looked for.")
    touch_share: float = Field(
        0.1, gt=0, le=1, description="Share of pairs of neighbours that touch when spacing or transplanting is due."
    )


class WeightSettings(BaseModel):
    """Fresh weight from projected area."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    level: float = Field(0.9, gt=0.5, lt=1, description="Share of weights that ranges are to hold.")
    match_days: float = Field(
        1.0, ge=0, le=14, description="A weigh-in belongs to the last photo of its tray at most so many days before it."
    )
    exponent: float = Field(
        1.25,
        ge=0.5,
        le=3,
        description="How weight rises with area while too few plants were weighed to tell; 1 for flat rosettes, 1.5 "
        "for plants that keep their form (W ~ L³, A ~ L²).",
    )
    exponent_from: int = Field(20, ge=5, le=10000, description="Weigh-ins of single plants from which it is fitted.")
    exponent_span: float = Field(
        2.0, gt=1, le=100, description="Largest over smallest weighed area from which the exponent is fitted."
    )
    age_from: int = Field(40, ge=10, le=10000, description="Weigh-ins from which days after sowing are tried as well.")
    age_gain: float = Field(6.0, ge=0, le=100, description="Age is kept when it lowers BIC by more than this.")
    split_trays: int = Field(
        6, ge=2, le=1000, description="From so many weighed trays whole trays are held back for ranges, else plants."
    )
    tail_dof: float = Field(
        4.0, ge=2, le=1000, description="Degrees of freedom of Student's t for weigh-ins: low ones ignore bad ones."
    )
    outside_share: float = Field(
        0.05, ge=0, le=1, description="A tray with a greater share of plants outside the weighed areas gets no total."
    )


class WatchSettings(BaseModel):
    """Trouble seen early."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    photos_before: int = Field(3, ge=2, le=100, description="Photos needed before departures are judged.")
    smoothing: float = Field(
        0.7, gt=0, le=1, description="Weight of the newest photo in the moving average; small ones see slow changes."
    )
    false_alarms: float = Field(
        0.5,
        gt=0,
        le=100,
        description="False alarms of rows, columns and tray together per 100 daily photos of a tray where departures "
        "are independent from photo to photo; real ones are not quite, and ring about twice as often.",
    )
    false_share: float = Field(
        0.05, gt=0, le=0.5, description="Share of the cells named on a photo that may be wrong (Benjamini-Hochberg)."
    )
    clip: float = Field(
        2.5,
        ge=1,
        le=10,
        description="A cell counts in its row at this many standard deviations at most: one dead plant is no row.",
    )
    cell_dof: float = Field(
        6.0, ge=2, le=1000, description="Degrees of freedom of Student's t that single cells' departures are judged by."
    )
    tray_sd: float = Field(
        0.06,
        gt=0,
        le=1,
        description="Standard deviation of a whole tray's ln area from one photo to the next beyond what its curve "
        "knows: weather, watering, and curves that are not quite true.",
    )
    tray_memory: float = Field(
        0.5,
        ge=0,
        le=1,
        description="Share of a whole tray's last departure from its curve that is expected again: the curve is not "
        "quite true, and stays so for some days.",
    )
    tell_days: int = Field(7, ge=1, le=365, description="Days that an alert is told of after it was first given.")
    line_cells: int = Field(3, ge=2, le=1000, description="Rows and columns with fewer plants are not judged.")


class GrowthSettings(BaseModel):
    """Growth, forecast, weight, early trouble."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    clock: ClockSettings = Field(default_factory=ClockSettings, description="The clock that growth runs by.")
    curve: CurveSettings = Field(default_factory=CurveSettings, description="Growth curves.")
    history: HistorySettings = Field(default_factory=HistorySettings, description="Lining up readings.")
    forecast: ForecastSettings = Field(default_factory=ForecastSettings, description="Days to come.")
    weight: WeightSettings = Field(default_factory=WeightSettings, description="Fresh weight from area.")
    watch: WatchSettings = Field(default_factory=WatchSettings, description="Trouble seen early.")
