"""Work through a list of jobs, one process or many: every outcome in order, one bad photo never stopping the rest."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from itertools import islice
from multiprocessing import get_context
from typing import Protocol

from canopy.batch.job import Done, Job, Outcome, SetAside
from canopy.errors import CanopyError, PhotoError

# Jobs handed out ahead of the one waited for; enough to keep workers busy, few enough to hold results in memory.
_AHEAD_PER_WORKER = 4
# `cv::Error::StsNoMem` of OpenCV's manual.
_OPENCV_NO_MEMORY = -4


Work = Callable[[Job], Done]


class Sink(Protocol):
    """Where outcomes go, in the order of the jobs."""

    def put(self, outcome: Outcome) -> None:
        """Take one outcome."""


def run(jobs: Sequence[Job | SetAside], *, work: Work, sink: Sink, workers: int) -> None:
    """Work through all jobs and hand each outcome to the sink, in the order of the jobs.

    Parameters
    ----------
    jobs : sequence of Job or SetAside
        What is already set aside passes straight through.
    work : callable
        Makes the reading of one job; must be picklable when `workers` is above 1.
    sink : Sink
    workers : int
        Number of processes; 1 works in this one.
    """
    to_do = [job for job in jobs if isinstance(job, Job)]
    outcomes = _in_pool(to_do, work, workers) if workers > 1 else (attempt(job, work=work) for job in to_do)
    for job in jobs:
        sink.put(next(outcomes) if isinstance(job, Job) else job)


def attempt(job: Job, *, work: Work) -> Outcome:
    """The outcome of one job; only what stops the whole run (nothing can be written any more) is raised."""
    try:
        return work(job)
    except PhotoError as error:
        return _set_aside(job, error.code, str(error))
    except CanopyError:
        raise
    except Exception as error:  # the rest of the night's photos must not be lost to one surprise
        if isinstance(error, MemoryError) or getattr(error, "code", None) == _OPENCV_NO_MEMORY:
            return _set_aside(
                job, "out_of_memory", f"{job.source.name}: needs more memory than there is; save it smaller"
            )
        return _set_aside(job, "failed", f"{job.source.name}: {type(error).__name__}: {error}")


def _in_pool(jobs: Sequence[Job], work: Work, workers: int) -> Iterator[Outcome]:
    """Outcomes in order from a pool of processes; a photo that kills its process is set aside."""
    done = 0
    while done < len(jobs):
        # Started afresh rather than forked: OpenCV's threads do not survive a fork.
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            try:
                for outcome in _drained(pool, jobs[done:], work, ahead=_AHEAD_PER_WORKER * workers):
                    done += 1
                    yield outcome
            except BrokenProcessPool:
                pass
        if done < len(jobs):
            # A process died. The photo waited for may be the one: it is tried alone, and the others again after it.
            done += 1
            yield _alone(jobs[done - 1], work)


def _drained(pool: ProcessPoolExecutor, jobs: Sequence[Job], work: Work, *, ahead: int) -> Iterator[Outcome]:
    waiting = iter(jobs)
    handed: deque[Future[Outcome]] = deque()
    while True:
        for job in islice(waiting, ahead - len(handed)):
            handed.append(pool.submit(partial(attempt, work=work), job))
        if not handed:
            return
        yield handed.popleft().result()


def _alone(job: Job, work: Work) -> Outcome:
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        try:
            return pool.submit(partial(attempt, work=work), job).result()
        except BrokenProcessPool:
            message = f"{job.source.name}: its process was ended, most likely for want of memory; use fewer --workers"
            return _set_aside(job, "failed", message)


def _set_aside(job: Job, code: str, message: str) -> SetAside:
    line = " ".join(message.split())
    return SetAside(job.source.name, job.record.tray, code, line)
