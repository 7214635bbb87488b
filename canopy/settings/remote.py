"""Photos in a store of files elsewhere: how it is reached, and how long is waited for it."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class RemoteSettings(BaseModel):
    """How photos are fetched where `photos` is an address such as s3://bucket/photos."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    options: dict[str, str | int | float | bool] = Field(
        default_factory=dict,
        description="What fsspec needs to know of the server, such as endpoint_url; never passwords, which belong into "
        "the environment or the server's own credential files.",
    )
    tries: int = Field(3, ge=1, le=20, description="Times that a list or a photo is asked for in one pass.")
    wait_s: float = Field(1.0, ge=0, le=600, description="Seconds before it is asked for again, doubled each time.")
    timeout_s: float = Field(
        60.0, gt=0, le=3600, description="Seconds that a list or a whole photo may take; then it counts as not given."
    )
