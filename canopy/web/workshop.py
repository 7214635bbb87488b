"""Processes that touch photos from outside: bounded in memory and time, and replaced when one dies of a photo."""

from __future__ import annotations

import multiprocessing
import queue
import resource
import signal
import traceback
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from canopy.errors import CanopyError, PhotoError

T = TypeVar("T")
_SPAWN = multiprocessing.get_context("spawn")
_MB = 1_000_000
_FIRST_ANSWER_S = 60.0


class Workshop:
    """A fixed number of processes that work on one photo each; a resource that must be closed."""

    def __init__(self, *, workers: int, memory_mb: int, time_s: float) -> None:
        """Start the processes; they load what they need while nobody waits yet."""
        self._memory_mb, self._time_s = memory_mb, time_s
        self._free: queue.SimpleQueue[_Worker] = queue.SimpleQueue()
        for _ in range(workers):
            self._free.put(_Worker(memory_mb))
        self._workers = workers

    def call(self, function: Callable[..., T], *args: object, name: str, **options: object) -> T:
        """What a function of a module makes of its arguments, in one of the processes; waits for a free one.

        Raises
        ------
        PhotoError
            The function did, or the photo took too much memory or time (`failed`).
        """
        worker = self._free.get()
        try:
            answer = worker.ask((function, args, {**options, "name": name}), time_s=self._time_s)
        finally:
            self._free.put(worker)  # one that died starts again with its next photo
        if answer is None:
            limits = f"{self._time_s:g} s or {self._memory_mb} MB"
            raise PhotoError("failed", f"{name}: took more than {limits} and was given up; send a smaller photo")
        kind, value = answer
        if kind == "done":
            return value  # type: ignore[no-any-return]
        code, message = value
        raise PhotoError(code, message)

    def close(self) -> None:
        """End all processes, those at work too."""
        for _ in range(self._workers):
            try:
                self._free.get(timeout=self._time_s + 1).end()
            except queue.Empty:
                return


class _Worker:
    """One process and the pipe to it."""

    def __init__(self, memory_mb: int) -> None:
        self._memory_mb = memory_mb
        self._start()

    def _start(self) -> None:
        self._pipe, theirs = _SPAWN.Pipe()
        self._process = _SPAWN.Process(target=_serve, args=(theirs, self._memory_mb), daemon=True)
        self._process.start()
        theirs.close()
        self._ready = False

    def ask(self, request: tuple[Any, ...], *, time_s: float) -> tuple[str, Any] | None:
        """The answer; None when the process died or was ended for taking too long."""
        if not self._process.is_alive():
            self.end()
            self._start()
        try:
            if not self._ready:  # loading is not the photo's time
                self._ready = self._pipe.poll(_FIRST_ANSWER_S) and bool(self._pipe.recv())
            self._pipe.send(request)
            if self._pipe.poll(time_s):
                answer: tuple[str, Any] = self._pipe.recv()
                return answer
        except (EOFError, OSError):
            pass
        self.end()
        return None

    def end(self) -> None:
        """End the process; once more does no harm."""
        self._process.kill()
        self._process.join()
        self._pipe.close()


def _serve(pipe: Connection, memory_mb: int) -> None:
    """The process: answer requests until the other end is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    import cv2

    import canopy.web.darkroom  # noqa: F401 - loaded before the first photo comes

    cv2.setNumThreads(1)
    resource.setrlimit(resource.RLIMIT_AS, (memory_mb * _MB, memory_mb * _MB))
    try:
        pipe.send("ready")
        while True:
            function, args, options = pipe.recv()
            pipe.send(_answer(function, args, options))
    except (EOFError, OSError):
        return


def _answer(function: Callable[..., Any], args: tuple[Any, ...], options: dict[str, Any]) -> tuple[str, Any]:
    name = options["name"]
    try:
        return "done", function(*args, **options)
    except PhotoError as error:
        return "photo", (error.code, str(error))
    except CanopyError as error:
        return "photo", ("tray_list", str(error))
    except MemoryError:
        return "photo", ("too_large", f"{name}: needs more memory than one photo may take; send it smaller")
    except Exception as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        said = f"{type(error).__name__} at {where.name}, line {where.lineno}"
        return "photo", ("failed", f"{name}: unexpected failure ({said}); report this message with the photo")
