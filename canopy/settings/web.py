"""The page on the phone: the adjustable numbers of this room."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class WebSettings(BaseModel):
    """Limits of the page on the phone; nothing here bears on a reading."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    upload_max_mb: float = Field(30.0, gt=0, le=500, description="Largest photo that is taken from a phone.")
    upload_count_max: int = Field(20, ge=1, le=200, description="Most photos in one sending.")
    form_max_kb: float = Field(400.0, gt=0, le=10000, description="Largest form that is no photo.")
    body_idle_s: float = Field(15.0, gt=0, le=600, description="A sending that is silent for so long is ended.")
    body_total_s: float = Field(300.0, gt=0, le=3600, description="A sending that takes longer in all is ended.")
    workers: int = Field(2, ge=1, le=64, description="Processes that decode and measure photos.")
    worker_memory_mb: int = Field(
        3000, ge=500, le=100000, description="Address space of each of them; a photo that needs more is refused."
    )
    worker_time_s: float = Field(60.0, gt=0, le=3600, description="A photo that takes longer is given up.")
    answer_wait_s: float = Field(
        10.0, ge=0, le=120, description="Wait for a photo's result before the page says that it is still in line."
    )
    picture_long_side_px: int = Field(1400, ge=400, le=4000, description="Long side of pictures on the page.")
    picture_quality: int = Field(80, ge=30, le=100, description="JPEG quality of them.")
    session_hours: float = Field(12.0, gt=0, le=24 * 90, description="A sign-in lasts so long.")
    pin_length_min: int = Field(6, ge=4, le=64, description="Shortest PIN or password.")
    failures_max: int = Field(5, ge=1, le=100, description="Sign-ins of a name that may fail before it is locked.")
    lock_s: float = Field(300.0, ge=1, le=86400, description="Length of the first lock; each one after it doubles.")
    address_tries_max: int = Field(30, ge=1, le=10000, description="Sign-ins that one address may try a minute.")
    recent_trays: int = Field(6, ge=1, le=100, description="Trays that stand first in the list.")
    today_days: int = Field(3, ge=1, le=60, description="Pick lists rest on photos of no more days back.")
    history_days: int = Field(12, ge=1, le=200, description="Pictures of a tray shown side by side.")
    board_page: int = Field(40, ge=5, le=500, description="Trays on one page of the board.")
    today_page: int = Field(25, ge=1, le=500, description="Trays on one page of today's list.")
