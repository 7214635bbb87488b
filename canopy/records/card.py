"""A card of patches of known colour that lies beside the tray."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field, model_validator


class CardPatch(BaseModel):
    """One patch: where its middle lies on the card and what colour it is."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    x_mm: float = Field(ge=0, le=2000, description="Middle of the patch from the card's top left corner, rightwards.")
    y_mm: float = Field(ge=0, le=2000, description="Middle of the patch from the card's top left corner, downwards.")
    lab: tuple[float, float, float] = Field(description="CIELAB colour under D65, 2° observer.")


class ColourCard(BaseModel):
    """Patches of known colour; a printed card is only as good as the values measured from its own print."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    name: str = Field(min_length=1, description="Name in the settings.")
    patch_mm: float = Field(gt=0, le=500, description="Side of one square patch.")
    patches: tuple[CardPatch, ...] = Field(min_length=1, description="The patches; six at least to correct colours.")
    source: str = Field(min_length=1, description="Where the colours come from.")

    @model_validator(mode="after")
    def _lightness_in_range(self) -> ColourCard:
        for number, patch in enumerate(self.patches, start=1):
            if not 0 <= patch.lab[0] <= 100:
                raise ValueError(f"card {self.name}, patch {number}: L* {patch.lab[0]:g} is not within 0 to 100")
        return self
