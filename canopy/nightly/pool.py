"""Processes that read photos: each bounded in memory and time, replaced when it ends, and a photo to blame known."""

from __future__ import annotations

import contextlib
import os
import resource
import signal
import sys
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from pkgutil import resolve_name
from typing import Protocol

from canopy.batch.job import Job, Outcome, SetAside
from canopy.errors import UsageError
from canopy.nightly.look import Entry
from canopy.settings import NightlySettings, Settings

_MB = 1_000_000
_READY = "ready"
_TRIES = 2
# Photos taken from the folder ahead of the one that is waited for, beyond those at work: there when a process is free.
_SPARE = 2
# Seconds that a process may take to start, on a machine however busy.
_START_S = 300.0

WORK = "canopy.nightly.work:outcomes"
"""What is called for each photo, by its name: it is loaded only when there is a photo to read."""


@dataclass
class Task:
    """One photo and all that is to be done with it.

    Attributes
    ----------
    jobs : tuple of Job or SetAside
        One for each tray it shows.
    data : bytes
    entry : Entry
    outcomes : list of Outcome or None
        In the order of the jobs; None until it is done.
    failed : int
        Processes that ended while they worked on it.
    """

    jobs: tuple[Job | SetAside, ...]
    data: bytes
    entry: Entry
    outcomes: list[Outcome] | None = None
    failed: int = 0


class Hands(Protocol):
    """Whoever reads photos."""

    @property
    def ahead(self) -> int:
        """Photos that may wait for their turn."""

    def give(self, task: Task) -> None:
        """Take a photo on."""

    def outcomes(self, task: Task) -> list[Outcome]:
        """What came of it, waited for."""


@dataclass
class Here:
    """This process."""

    settings: Settings

    @property
    def ahead(self) -> int:
        """None may wait."""
        return 0

    def give(self, task: Task) -> None:
        """Nothing is done before it is asked for."""

    def outcomes(self, task: Task) -> list[Outcome]:
        """What comes of a photo."""
        outcomes: list[Outcome] = resolve_name(WORK)(task.jobs, task.data, task.entry, settings=self.settings)
        return outcomes


@dataclass
class _Worker:
    """One process and the photo that it works on."""

    process: BaseProcess
    connection: Connection
    since: float
    ready: bool = False
    done: int = 0
    task: Task | None = None


@dataclass
class Pool:
    """Several processes, started when there is a photo for them.

    A process that ends, or takes too long, is replaced and its photo tried once more by a fresh one. The second time
    the photo is set aside as `process_died` or `too_slow`.
    """

    count: int
    settings: Settings
    work: str
    waiting: deque[Task] = field(default_factory=deque)
    workers: list[_Worker] = field(default_factory=list)

    @property
    def ahead(self) -> int:
        """Photos that may wait for their turn."""
        return self.count + _SPARE

    def give(self, task: Task) -> None:
        """Take a photo on; it is begun as soon as a process is free."""
        self.waiting.append(task)
        self._collect(timeout_s=0)
        self._hand_out()

    def outcomes(self, task: Task) -> list[Outcome]:
        """What came of a photo, waited for.

        Raises
        ------
        UsageError
            No process can be started with the memory that it may take.
        """
        while task.outcomes is None:
            self._hand_out()
            self._collect(timeout_s=None)
        return task.outcomes

    def close(self) -> None:
        """End all processes at once."""
        for worker in self.workers:
            worker.process.kill()
            worker.process.join()
            worker.connection.close()
        self.workers.clear()

    def _hand_out(self) -> None:
        while self.waiting:
            idle = next((worker for worker in self.workers if worker.task is None), None)
            if idle is None:
                if len(self.workers) >= self.count:
                    return
                idle = self._started()
            task = self.waiting.popleft()
            idle.task, idle.since = task, time.monotonic()
            with contextlib.suppress(BrokenPipeError, ConnectionResetError):  # it has ended: seen when collecting
                idle.connection.send((task.jobs, task.data, task.entry))

    def _started(self) -> _Worker:
        # Started afresh rather than forked: OpenCV's threads do not survive a fork, and no lock is handed on.
        context = get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=_serve, args=(theirs, self.settings, self.work), daemon=True)
        process.start()
        theirs.close()
        worker = _Worker(process, ours, time.monotonic())
        self.workers.append(worker)
        return worker

    def _left_s(self, worker: _Worker) -> float:
        """Seconds until a process has taken too long."""
        limit = self.settings.nightly.photo_max_s if worker.ready else _START_S
        return worker.since + limit - time.monotonic()

    def _collect(self, *, timeout_s: float | None) -> None:
        """Take what processes have done, waiting at most so long; see to those that ended or take too long."""
        busy = [worker for worker in self.workers if worker.task is not None]
        if not busy:
            return
        soonest = max(min(self._left_s(worker) for worker in busy), 0)
        heard = wait([worker.connection for worker in busy], soonest if timeout_s is None else timeout_s)
        for worker in busy:
            if worker.connection in heard:
                self._hear(worker)
            elif self._left_s(worker) <= 0:
                limit = f"took longer than photo_max_s = {self.settings.nightly.photo_max_s:g}"
                self._lose(worker, "too_slow", f"{limit} twice; save it smaller or raise the limit")

    def _hear(self, worker: _Worker) -> None:
        try:
            said = worker.connection.recv()
        except (EOFError, OSError):
            worker.process.join()
            how = _how_ended(worker.process.exitcode)
            self._lose(worker, "process_died", f"ended its process twice ({how}); save it anew or remove it")
            return
        if said == _READY:
            worker.ready, worker.since = True, time.monotonic()
            return
        assert worker.task is not None
        worker.task.outcomes, worker.task = said, None
        worker.done += 1
        if worker.done >= self.settings.nightly.worker_photos:
            self._end(worker)

    def _lose(self, worker: _Worker, code: str, said: str) -> None:
        """Replace a process; its photo is tried once more, or set aside."""
        task = worker.task
        assert task is not None
        self._end(worker)
        if not worker.ready:
            how = _how_ended(worker.process.exitcode)
            raise UsageError(
                f"worker_memory_mb = {self.settings.nightly.worker_memory_mb}: a process that reads photos ended while "
                f"it was starting ({how}); raise it under [nightly], or use fewer --workers"
            )
        task.failed += 1
        if task.failed < _TRIES:
            self.waiting.appendleft(task)
            return
        task.outcomes = set_aside_all(task, code, said)

    def _end(self, worker: _Worker) -> None:
        worker.process.kill()
        worker.process.join()
        worker.connection.close()
        self.workers.remove(worker)


@contextmanager
def hands(workers: int | None, settings: Settings, *, scheduler: str | None = None) -> Iterator[Hands]:
    """Whoever reads the photos of a pass, dismissed at the end of the block.

    Parameters
    ----------
    workers : int or None
        Number of processes; 0 for as many as there are cores, None for this process itself.
    settings : Settings
    scheduler : str, optional
        Address of a Dask cluster, whose workers read the photos instead.
    """
    if scheduler is not None:
        # Here, since one machine alone need not have it installed.
        from canopy.nightly.cluster import cluster

        with cluster(scheduler, settings) as workers_elsewhere:
            yield workers_elsewhere
        return
    if workers is None:
        yield Here(settings)
        return
    pool = Pool(workers or os.cpu_count() or 1, settings, WORK)
    try:
        yield pool
    finally:
        pool.close()


def set_aside_all(task: Task, code: str, said: str) -> list[Outcome]:
    """All jobs of a photo set aside for one reason."""
    return [
        job
        if isinstance(job, SetAside)
        else SetAside(job.source.name, job.record.tray, code, f"{job.source.name}: {said}")
        for job in task.jobs
    ]


def _how_ended(code: int | None) -> str:
    return f"signal {signal.Signals(-code).name}" if code is not None and code < 0 else f"exit code {code}"


def _serve(connection: Connection, settings: Settings, work: str) -> None:
    """Read photos until the other end is closed; the life of one process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the coordinator's to answer
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    _bound_memory(settings.nightly)
    outcomes = resolve_name(work)
    connection.send(_READY)
    # From here on only outcomes are said: decoders write their own remarks on damaged photos, and cron would mail them.
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    with contextlib.suppress(EOFError, BrokenPipeError, ConnectionResetError):  # the other end has gone
        while True:
            jobs, data, entry = connection.recv()
            connection.send(outcomes(jobs, data, entry, settings=settings))


def _bound_memory(settings: NightlySettings) -> None:
    # Of what is allocated, not of what is mapped: libraries map far more than they use. Only Linux counts it so.
    if sys.platform == "linux":
        limit = settings.worker_memory_mb * _MB
        _, most = resource.getrlimit(resource.RLIMIT_DATA)
        limit = limit if most == resource.RLIM_INFINITY else min(limit, most)
        resource.setrlimit(resource.RLIMIT_DATA, (limit, most))
