"""A crop recipe: targets and rules of one crop and stage, each figure with its source."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, model_validator

Better = Literal["larger", "smaller", "target"]
ColourIndex = Literal["hue_deg", "exg", "ngrdi", "gli", "dgci"]
Stage = Literal["seedling", "finish", "mat"]

OUR_DEFAULT = "our default, tune on own trays"


class Criterion(BaseModel):
    """How good one measurement is: limits of a desirability (Derringer & Suich 1980), its weight and its source."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    better: Better = Field(description="Which way is good: larger, smaller or target (between the limits).")
    low: float | None = Field(None, description="At or below this the desirability is 0 (larger, target).")
    target: float = Field(description="Here the desirability becomes 1.")
    target_high: float | None = Field(
        None, description="End of the stretch at 1 that starts at `target` (target only); absent: `target` alone."
    )
    high: float | None = Field(None, description="At or above this the desirability is 0 (smaller, target).")
    low_exponent: float = Field(1.0, gt=0, le=10, description="Shape between `low` and `target`; above 1 is strict.")
    high_exponent: float = Field(
        1.0, gt=0, le=10, description="Shape between the target and `high`; above 1 is strict."
    )
    weight: float = Field(gt=0, le=100, description="Share of the score; only ratios of weights matter.")
    may_be_withheld: bool = Field(
        False, description="True: when it cannot be judged its weight is shared out; False: then there is no score."
    )
    source: str = Field(min_length=1, description="Where the figures come from.")

    @model_validator(mode="after")
    def _limits_in_order(self) -> Criterion:
        needed = {"larger": ("low",), "smaller": ("high",), "target": ("low", "high")}[self.better]
        for name in ("low", "high", "target_high"):
            given = getattr(self, name) is not None
            if name in needed and not given:
                raise ValueError(f"`{name}` is needed where better = {self.better!r}")
            if given and name not in needed and not (name == "target_high" and self.better == "target"):
                raise ValueError(f"`{name}` has no meaning where better = {self.better!r}; remove it")
        if self.low is not None and self.low >= self.target:
            raise ValueError(f"`low` {self.low:g} must lie below `target` {self.target:g}")
        if self.target_end < self.target:
            raise ValueError(f"`target_high` {self.target_end:g} must not lie below `target` {self.target:g}")
        if self.high is not None and self.high <= self.target_end:
            raise ValueError(f"`high` {self.high:g} must lie above the target {self.target_end:g}")
        return self

    @property
    def target_end(self) -> float:
        """Largest value at which the desirability is still 1 (of a target or smaller-is-best criterion)."""
        return self.target if self.target_high is None else self.target_high


class ColourCriterion(Criterion):
    """A criterion on one colour index of the living canopy."""

    index: ColourIndex = Field(description="Column of the cell table that is judged.")


class MeasuredCriterion(Criterion):
    """A criterion or gate on something measured by hand or sensor, which no photo shows."""

    name: str = Field(
        min_length=1, description="Column of the table `measured`, such as root_score; or evenness, of the photo."
    )
    unit: str = Field("", description="Its unit, for the words.")
    weight: float = Field(0.0, ge=0, le=100, description="Share of the score; 0: a gate alone.")
    least: float | None = Field(None, description="Nothing is offered below this; absent: no such gate.")
    most: float | None = Field(None, description="Nothing is offered above this; absent: no such gate.")
    max_age_days: int = Field(
        ge=0, le=365, description="Days after which a measurement is stale and counts for nothing."
    )
    sampled: bool = Field(
        False, description="True: some plants of the tray are measured for all of it, as plugs that are pulled."
    )

    @model_validator(mode="after")
    def _gate_in_order(self) -> MeasuredCriterion:
        if self.least is not None and self.most is not None and self.least > self.most:
            raise ValueError(f"`least` {self.least:g} must not lie above `most` {self.most:g}")
        if self.sampled and self.least is None and self.most is None:
            raise ValueError("a sampled measurement needs `least` or `most`: which plants pass")
        return self


class SampleRule(BaseModel):
    """How many plants of a tray are measured for all of it."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    share: float = Field(gt=0, lt=1, description="Share of the tray's plants that must pass.")
    confidence: float = Field(gt=0, lt=1, description="How sure of that share the sample must make.")
    source: str = Field(min_length=1, description="Where the figures come from.")


class Gates(BaseModel):
    """Rules that block or send to inspection, whatever the score."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    minimum_das: int = Field(ge=0, le=400, description="Never offered before this many days after sowing.")
    minimum_area_mm2: float | None = Field(
        None, ge=0, le=1e6, description="Never offered below this projected area; absent: no such rule."
    )
    damage_limit: float = Field(
        ge=0, le=1, description="Yellow plus brown share of the plant above which a person must look."
    )
    source: str = Field(min_length=1, description="Where the figures come from.")


class HeightTable(BaseModel):
    """Height of the tops of a typical plant over the rim, by days after sowing."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    das: tuple[float, ...] = Field(min_length=2, description="Days after sowing, rising.")
    mm: tuple[float, ...] = Field(min_length=2, description="Height of the tops on those days, mm.")
    relative_sd: float = Field(gt=0, le=1, description="Relative standard uncertainty of the height.")
    source: str = Field(min_length=1, description="Where the figures come from.")

    @model_validator(mode="after")
    def _table_is_one(self) -> HeightTable:
        if len(self.das) != len(self.mm):
            raise ValueError(f"`das` has {len(self.das)} entries but `mm` has {len(self.mm)}; give one height per day")
        if any(b <= a for a, b in zip(self.das, self.das[1:], strict=False)):
            raise ValueError("`das` must rise from entry to entry")
        if min(self.das) < 0 or min(self.mm) < 0:
            raise ValueError("`das` and `mm` must not be negative")
        return self


class WeightCurve(BaseModel):
    """Fresh weight of a plant from its projected area before anyone weighed plants of one's own."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    g_per_cm2: float = Field(
        gt=0, le=50, description="Grams of a plant of 1 cm²: W = g_per_cm2 · (area in cm²)^exponent."
    )
    exponent: float = Field(1.0, ge=0.5, le=3, description="How weight rises with area; 1 in proportion.")
    from_mm2: float = Field(
        gt=0, le=1e6, description="Least area that the figure was published for, or is taken to hold."
    )
    to_mm2: float = Field(gt=0, le=1e6, description="Greatest such area.")
    source: str = Field(min_length=1, description="Where the figures come from.")

    @model_validator(mode="after")
    def _areas_in_order(self) -> WeightCurve:
        if self.from_mm2 >= self.to_mm2:
            raise ValueError(f"`from_mm2` {self.from_mm2:g} must lie below `to_mm2` {self.to_mm2:g}")
        return self


class NamedCriterion(NamedTuple):
    """A criterion of a recipe with its name, the measurement it judges and that measurement's unit."""

    name: str
    measure: str
    unit: str
    criterion: Criterion


class CropRecipe(BaseModel):
    """Targets and rules for one crop and stage."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    crop: str = Field(min_length=1, description="Name used in the tray list.")
    stage: Stage = Field(description="Stage of the crop.")
    title: str = Field("", description="Name for people.")
    red: bool = Field(False, description="Leaves are red or purple when healthy: indices of green are not used.")
    tiered: float | None = Field(
        None,
        ge=0,
        le=1,
        description="How far plants are stems with leaves in tiers, whose side shows from obliquely above: 0 rosettes "
        "and heads, about 0.75 basil, 1 a closed wall of leaves; absent: not known; ranges of tall plants are wider.",
    )
    size: Criterion | None = Field(None, description="Projected leaf area of the plant, mm².")
    cover: Criterion | None = Field(None, description="Canopy share of the cell or tile, 0..1.")
    colour: ColourCriterion | None = Field(None, description="Colour of the living canopy.")
    age: Criterion | None = Field(None, description="Days after sowing.")
    health: Criterion | None = Field(None, description="Yellow plus brown share of the plant, 0..1; smaller is best.")
    gates: Gates = Field(description="Rules that block or send to inspection.")
    height: HeightTable | None = Field(None, description="Height of the tops by days after sowing.")
    weight: WeightCurve | None = Field(None, description="Fresh weight from area, used while nothing was weighed.")
    measured: tuple[MeasuredCriterion, ...] = Field(
        (), description="What is measured by hand or sensor and must be there before anything is offered."
    )
    sample: SampleRule | None = Field(None, description="How many plants are measured where a sample is taken.")
    cautions: tuple[str, ...] = Field((), description="Sentences shown wherever the recipe is used.")

    @model_validator(mode="after")
    def _criteria_make_sense(self) -> CropRecipe:
        if not self.criteria:
            raise ValueError("needs at least one of `size`, `cover`, `colour`, `age`, `health`")
        if any(one.sampled for one in self.measured) and self.sample is None:
            raise ValueError("`sample` is needed where a measurement is `sampled`; give share and confidence")
        if self.health is not None and self.health.better != "smaller":
            raise ValueError("`health` counts yellow and brown: better must be 'smaller'")
        # On red leaves every index of green falls as the plant does well; only NGRDI read downwards (redness) is kept.
        if self.red and self.colour is not None and (self.colour.index, self.colour.better) != ("ngrdi", "smaller"):
            raise ValueError(
                "`colour` of a red cultivar cannot use an index of green; leave it out, or use index = 'ngrdi' with "
                "better = 'smaller' (redder is better)"
            )
        return self

    @property
    def criteria(self) -> tuple[NamedCriterion, ...]:
        """The recipe's criteria in the order in which they are shown."""
        index = self.colour.index if self.colour is not None else ""
        slots = (
            ("size", "area_mm2", "mm²", self.size),
            ("cover", "cover", "", self.cover),
            ("colour", index, "°" if index == "hue_deg" else "", self.colour),
            ("age", "das", "days", self.age),
            ("health", "damage_fraction", "", self.health),
        )
        return tuple(NamedCriterion(name, measure, unit, c) for name, measure, unit, c in slots if c is not None)

    @property
    def ready_decision(self) -> str:
        """What is done with a ready cell: `transplant` for seedlings, else `harvest`."""
        return "transplant" if self.stage == "seedling" else "harvest"

    def height_at(self, das: float | None) -> tuple[float, float] | None:
        """Height of the tops of a typical plant.

        Parameters
        ----------
        das : float or None
            Days after sowing.

        Returns
        -------
        tuple of float, or None
            (height in mm, relative standard uncertainty), straight lines between the table's days; None where the
            table is absent or `das` is unknown or outside it: nothing is extrapolated.
        """
        table = self.height
        if table is None or das is None or math.isnan(das) or not table.das[0] <= das <= table.das[-1]:
            return None
        after = next(i for i, day in enumerate(table.das) if day >= das)
        if table.das[after] == das:
            return table.mm[after], table.relative_sd
        share = (das - table.das[after - 1]) / (table.das[after] - table.das[after - 1])
        return table.mm[after - 1] + share * (table.mm[after] - table.mm[after - 1]), table.relative_sd
