"""The nightly pass beside the store: the processes that read photos, what they may take."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from canopy.settings.keep import KeepSettings
from canopy.settings.messages import MessageSettings
from canopy.settings.remote import RemoteSettings


class NightlySettings(BaseModel):
    """How a pass goes about its work; nothing here bears on a reading."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    messages: MessageSettings = Field(default_factory=MessageSettings, description="The morning message.")
    keep: KeepSettings = Field(default_factory=KeepSettings, description="How long pictures are kept.")
    remote: RemoteSettings = Field(default_factory=RemoteSettings, description="Photos on a server.")
    photos: str = Field(
        "",
        description="Folder that the cameras fill (a relative one lies beside this file), or an address such as "
        "s3://bucket/photos (needs the extra `remote`). Empty: the folder of this file and all below it.",
    )
    metrics: str = Field(
        "",
        description="Prometheus text file to be written by each pass (a relative one lies beside this file), such as "
        "in the folder of the node exporter's textfile collector. Empty: none.",
    )
    log: str = Field(
        "",
        description="File to which each pass adds what it did, one JSON object a line (a relative one lies beside this "
        "file). Empty: none.",
    )
    silent_after: float = Field(
        4.0,
        ge=1.5,
        le=1000,
        description="A camera counts as silent when its last photo is older than this many times its usual gap between "
        "two photos.",
    )
    silent_min_h: float = Field(
        2.0, ge=0, le=8760, description="A camera silent for fewer hours than this is never named."
    )
    disk_free_mb: float = Field(
        1000.0, ge=0, le=1e9, description="Less room than this on the disk of the store is told by `canopy doctor`."
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
