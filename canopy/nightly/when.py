"""Moments as they are kept and shown."""

from __future__ import annotations

from datetime import UTC, datetime

NS = 1_000_000_000
"""Nanoseconds in a second."""


def utc_text(moment_ns: int) -> str:
    """A moment, nanoseconds since 1970, as ISO 8601 in UTC to the second."""
    return datetime.fromtimestamp(moment_ns // NS, tz=UTC).isoformat()


def local_text(moment_ns: int, *, now_ns: int) -> str:
    """A moment on this machine's wall clock: the hour where it is of the same day as now, else the day too."""
    moment, now = (datetime.fromtimestamp(of / NS) for of in (moment_ns, now_ns))
    return moment.strftime("%H:%M" if moment.date() == now.date() else "%Y-%m-%d %H:%M")
