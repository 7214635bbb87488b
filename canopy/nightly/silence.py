"""Cameras that have fallen silent: the last photo of each against its usual gap between two photos."""

from __future__ import annotations

import statistics
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from canopy.batch.job import Job
from canopy.nightly.rules import Rules
from canopy.nightly.when import NS
from canopy.settings import NightlySettings

# Gaps that make a habit, how many of the last ones count, and days before that are compared.
_GAPS_MIN = 3
_GAPS_MAX = 200
_DAYS = 7
_HOUR_NS = 3600 * NS
_DAY_NS = 24 * _HOUR_NS


@dataclass(frozen=True)
class Silent:
    """A camera that has not sent a photo for unusually long.

    Attributes
    ----------
    camera : str
        Its folder, or the tray that it sees where all photos lie in one folder.
    last_ns : int
        Time of change of its last photo, nanoseconds since 1970.
    usual_s : float
        Median gap between two of its photos.
    """

    camera: str
    last_ns: int
    usual_s: float


def silent_cameras(
    files: Iterable[tuple[str, str, int]], *, rules: Rules, now_ns: int, settings: NightlySettings
) -> list[Silent]:
    """Cameras whose last photo is older than their habit lets expect, the longest silent first.

    Parameters
    ----------
    files : iterable of (folder, name, nanoseconds since 1970)
        Photos of the last days, oldest first. A camera is a folder; where all photos lie in one, it is a tray.
    rules : Rules
        Say which tray a photo shows.
    now_ns : int
    settings : NightlySettings
    """
    files = list(files)
    by_folder = len({folder for folder, _, _ in files}) > 1
    times: dict[str, list[int]] = defaultdict(list)
    for folder, name, changed_ns in files:
        times[folder if by_folder else _tray(rules, folder, name)].append(min(changed_ns, now_ns))
    silent = [one for camera, seen in times.items() if camera and (one := _silent(camera, seen, now_ns, settings))]
    return sorted(silent, key=lambda one: (one.last_ns, one.camera))


def _silent(camera: str, seen: list[int], now_ns: int, settings: NightlySettings) -> Silent | None:
    # Photos of one moment are one visit: several trays in view, or a copy of a whole day at once.
    moments = sorted(set(seen))
    gaps = [later - earlier for earlier, later in pairwise(moments[-_GAPS_MAX - 1 :])]
    if len(gaps) < _GAPS_MIN:
        return None
    usual = statistics.median(gaps)
    last = moments[-1]
    if now_ns - last <= max(settings.silent_after * usual, settings.silent_min_h * _HOUR_NS):
        return None
    # Lamps are off by night: what counts is whether photos came at these hours on the days before.
    came = [
        bisect_right(moments, now_ns - days * _DAY_NS) > bisect_right(moments, last + usual / 2 - days * _DAY_NS)
        for days in range(1, _DAYS + 1)
        if last - days * _DAY_NS >= moments[0]
    ]
    return Silent(camera, last, usual / NS) if sum(came) * 2 >= len(came) else None


def _tray(rules: Rules, folder: str, name: str) -> str:
    jobs = rules.jobs(f"{folder}/{name}" if folder else name)
    return jobs[0].record.tray if jobs and isinstance(jobs[0], Job) else ""
