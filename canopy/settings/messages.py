"""The morning message: to whom, when, about what."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class MessageSettings(BaseModel):
    """What is told of a farm, and how often it is tried."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    to: str = Field(
        "",
        description="File with one address a line, as Apprise takes them (a relative one lies beside this file); they "
        "may hold passwords, so let nobody else read it. Empty: no message. Needs the extra `messages`.",
    )
    at: str = Field(
        "06:00",
        pattern=r"^(([01]\d|2[0-3]):[0-5]\d)?$",
        description="The first pass after this time of day, on this machine's clock, sends the message. Empty: every "
        "pass that has something to tell.",
    )
    quiet: bool = Field(True, description="Send nothing when nothing is ready, uneven or set aside.")
    uneven_below: float = Field(
        60.0, ge=0, le=100, description="Trays whose evenness is below this are told, with the pattern that was seen."
    )
    trays_max: int = Field(
        30, ge=1, le=1000, description="Trays and photos told of each kind; of the others the number."
    )
    tries_max: int = Field(8, ge=1, le=100, description="Times that a message which could not be sent is tried.")
    retry_after_s: float = Field(
        300.0, ge=0, le=86400, description="Seconds until it is tried again, doubled each time; a later pass does so."
    )
