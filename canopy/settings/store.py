"""The farm's store and the nightly pass: the adjustable numbers of both."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class StoreSettings(BaseModel):
    """Where readings are kept and how new photos are taken in; nothing here bears on a reading."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    url: str = Field(
        "",
        description="Where readings are kept: a file (a relative one lies beside this file), or a database such as "
        "postgresql://name@host/database, its password in the environment or in a password file, never here. "
        "Empty: canopy.db in the folder of the photos.",
    )
    busy_timeout_s: float = Field(
        30.0, ge=0, le=3600, description="Seconds to wait while another program writes to the store."
    )
    settle_s: float = Field(
        30.0,
        ge=0,
        le=86400,
        description="A new file changed less than this many seconds ago may still be being copied: it is left for the "
        "next pass, unless an earlier pass has seen it just as it is.",
    )
    photo_max_mb: float = Field(
        200.0, gt=0, le=10000, description="Larger files are set aside unread, so that one cannot take all memory."
    )
    readings_at_once: int = Field(
        200, ge=1, le=100000, description="Readings held in memory at a time when tables are exported."
    )
