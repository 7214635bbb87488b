"""The nightly pass beside the store: the processes that read photos, what they may take."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from canopy.settings.messages import MessageSettings


class NightlySettings(BaseModel):
    """How a pass goes about its work; nothing here bears on a reading."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    messages: MessageSettings = Field(default_factory=MessageSettings, description="The morning message.")
    photos: str = Field(
        "",
        description="Folder that the cameras fill (a relative one lies beside this file). Empty: the folder of this "
        "file and all below it.",
    )
    worker_memory_mb: int = Field(
        3000,
        ge=500,
        le=1_000_000,
        description="Memory that one process reading photos may take (Linux only); a photo that needs more is set "
        "aside.",
    )
    worker_photos: int = Field(
        1000, ge=1, le=1_000_000, description="Photos after which a process is replaced by a fresh one."
    )
    photo_max_s: float = Field(
        120.0,
        ge=1,
        le=86400,
        description="Seconds that one photo may take before its process is ended; when it takes as long a second time, "
        "it is set aside.",
    )
