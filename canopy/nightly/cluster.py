"""The map step on a Dask cluster: photos handed out to its workers, outcomes taken back by the one coordinator."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pkgutil import resolve_name
from typing import Any

from canopy import __version__
from canopy.batch.job import Outcome
from canopy.errors import UsageError
from canopy.nightly.pool import WORK, Task, set_aside_all
from canopy.settings import Settings

_CONNECT_S = 10.0


@dataclass
class Cluster:
    """Workers of a Dask cluster, each a process with one thread.

    A worker that dies loses nothing: its photo goes to another one. A photo whose workers die as often as the scheduler
    allows (`allowed-failures`) is set aside.

    Attributes
    ----------
    client : distributed.Client
    settings : Settings
    threads : int
        Photos that can be worked on at once.
    """

    client: Any
    settings: Settings
    threads: int
    _futures: dict[int, Any] = field(default_factory=dict)

    @property
    def ahead(self) -> int:
        """Photos that may wait for their turn: one more for each worker, there when it is free."""
        return 2 * self.threads

    def give(self, task: Task) -> None:
        """Take a photo on; its bytes are sent to the cluster at once."""
        with warnings.catch_warnings():
            # Dask would rather have large data spread first; but what is spread to one worker dies with it.
            warnings.simplefilter("ignore", UserWarning)
            self._futures[id(task)] = self.client.submit(
                resolve_name(WORK), task.jobs, task.data, task.entry, settings=self.settings, pure=False
            )

    def outcomes(self, task: Task) -> list[Outcome]:
        """What came of a photo, waited for.

        Raises
        ------
        UsageError
            The cluster is lost; the photo is left for the next pass.
        """
        from distributed import KilledWorker, TimeoutError

        future = self._futures.pop(id(task))
        # Up to three photos stand before it on the same worker, and one worker may have to be started anew.
        limit_s = self.settings.nightly.photo_max_s * 4
        try:
            outcomes: list[Outcome] = future.result(timeout=limit_s)
        except KilledWorker:
            return set_aside_all(task, "process_died", "ended its workers; save it anew or remove it")
        except TimeoutError:
            future.cancel()
            return set_aside_all(task, "too_slow", f"took longer than {limit_s:g} s in the cluster; save it smaller")
        except Exception as error:  # scheduler gone, connection lost, workers without the program
            said = " ".join(str(error).split())[:200] or type(error).__name__
            raise UsageError(f"--scheduler: the cluster failed ({said}); the next pass goes on from here") from None
        return outcomes


def installed() -> str:
    """Version of the program where this is run."""
    return __version__


@contextmanager
def cluster(address: str, settings: Settings) -> Iterator[Cluster]:
    """The workers of a running cluster.

    Raises
    ------
    UsageError
        Dask is not installed, nobody answers, or the workers are not as they must be.
    """
    try:
        from distributed import Client
    except ModuleNotFoundError:
        raise UsageError("--scheduler: needs Dask; install canopy with its extra `cluster`") from None
    try:
        client: Any = Client(address, timeout=_CONNECT_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise UsageError(f"--scheduler {address}: nobody answers ({error}); start it, or check the address") from None
    with client:
        yield Cluster(client, settings, _threads(client, address))


def _threads(client: Any, address: str) -> int:
    """Number of workers, each of which must have this version and one thread."""
    workers = client.scheduler_info(n_workers=-1)["workers"]
    if not workers:
        raise UsageError(f"--scheduler {address}: has no workers; start some with `dask worker {address} --nthreads 1`")
    # The networks are run by OpenCV, whose models may be used by one thread at a time.
    if any(worker["nthreads"] != 1 for worker in workers.values()):
        raise UsageError(f"--scheduler {address}: has workers of several threads; start them with `--nthreads 1`")
    try:
        versions = set(client.run(installed).values())
    except Exception as error:  # most likely the program is not there
        raise UsageError(f"--scheduler {address}: a worker cannot run canopy ({error}); install it there") from None
    if versions != {__version__}:
        raise UsageError(
            f"--scheduler {address}: workers have canopy {', '.join(sorted(versions))}, here {__version__}"
        )
    return len(workers)
