"""The whole job from photos and folders to a folder of results."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from canopy.batch.job import Done, Job, Outcome, SetAside
from canopy.batch.plan import Plan, make_plan
from canopy.batch.results import REPORT_FILE, Results, prepare_out
from canopy.batch.run import run
from canopy.batch.twins import NearTwins
from canopy.batch.work import MASKS, OVERLAYS, Worker, remove_pictures

ALL_GOOD, SOME_SET_ASIDE, LIST_WRONG = 0, 1, 2

# Starting a process costs about as much as working through this many photos.
_PHOTOS_PER_WORKER = 2


@dataclass(frozen=True)
class Run:
    """What a run did.

    Attributes
    ----------
    out, report : pathlib.Path
    photos_read : int
    set_aside : tuple of SetAside
    problems : tuple of str
        Lines of tray lists that could not be used.
    picks : int
        Plants to pick.
    top_picks : list of dict
        `tray, cell, decision, readiness` of the best, best first.
    """

    out: Path
    report: Path
    photos_read: int
    set_aside: tuple[SetAside, ...]
    problems: tuple[str, ...]
    picks: int
    top_picks: list[dict[str, Any]]

    @property
    def exit_code(self) -> int:
        """0 all good, 1 photos were set aside, 2 lines of the tray list are wrong."""
        if self.problems:
            return LIST_WRONG
        return SOME_SET_ASIDE if self.set_aside else ALL_GOOD


def score_photos(
    photos: Sequence[Path],
    *,
    out: Path,
    trays: Path | None = None,
    settings: Path | None = None,
    masks: bool = False,
    workers: int = 1,
    language: str | None = None,
    progress: Callable[[int, int], None] = lambda done, total: None,  # noqa: ARG005
) -> Run:
    """Score photos and write the results.

    Parameters
    ----------
    photos : sequence of pathlib.Path
        Photos and folders.
    out : pathlib.Path
        Folder of results, made when absent.
    trays, settings : pathlib.Path, optional
        Tray list and settings file; by default those beside the photos.
    masks : bool
        Also write `masks/<stem>.png`.
    workers : int
        Processes; 0 for as many as there are cores. The results are the same for any number.
    language : str, optional
        Of report and overlays; by default that of the settings.
    progress : callable
        Told (done, total) after each photo.

    Raises
    ------
    UsageError
        Nothing can be done: no photos, no tray list, a file that cannot be used, a folder that cannot be written.
    """
    plan = make_plan(photos, trays=trays, settings=settings, out=out)
    configuration = plan.configuration.in_language(language)
    prepare_out(out, inputs=photos, trays=trays, folders=[OVERLAYS, MASKS] if masks else [OVERLAYS])
    work = Worker(configuration.settings, out, masks)
    with Results(out, configuration) as results:
        sink = _Told(results, progress, len(plan.jobs), NearTwins(configuration.settings.photo))
        run(plan.jobs, work=work, sink=sink, workers=_workers(workers, plan))
    return Run(
        out=out,
        report=out / REPORT_FILE,
        photos_read=results.readings,
        set_aside=tuple(results.set_aside),
        problems=plan.problems,
        picks=results.picks,
        top_picks=results.top_picks,
    )


class _Told:
    """Passes outcomes on, copies of earlier pictures as set aside, and tells how many there were."""

    def __init__(self, sink: Results, progress: Callable[[int, int], None], total: int, near_twins: NearTwins) -> None:
        self._sink, self._progress, self._total, self._done = sink, progress, total, 0
        self._near_twins = near_twins

    def put(self, outcome: Outcome) -> None:
        if isinstance(outcome, Done):
            checked = self._near_twins.checked(outcome)
            if isinstance(checked, SetAside):
                remove_pictures(self._sink.out, outcome.stem)
            outcome = checked
        self._sink.put(outcome)
        self._done += 1
        self._progress(self._done, self._total)


def _workers(asked: int, plan: Plan) -> int:
    jobs = sum(isinstance(job, Job) for job in plan.jobs)
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    most = min(cores, jobs // _PHOTOS_PER_WORKER) if asked == 0 else min(asked, jobs)
    return max(1, most)
