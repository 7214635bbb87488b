"""Work for other processes, as bad as the bytes of the photo say."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import numpy as np
from store.made_up import reading

from canopy.batch.job import Done
from canopy.batch.run import attempt


def outcomes(jobs, data, entry, *, settings):
    return [attempt(job, work=lambda one: _work(one, data)) for job in jobs]


def _work(job, data):
    word, _, rest = data.decode().partition(" ")
    if word == "die":
        os.kill(os.getpid(), signal.SIGKILL)
    if word == "leave":
        os._exit(3)
    if word == "once" and not Path(rest).exists():
        Path(rest).touch()
        os.kill(os.getpid(), signal.SIGSEGV)
    if word == "hang":
        time.sleep(600)
    if word == "hoard":
        np.ones(int(rest) * 1_000_000, np.uint8)
    if word == "who":
        return Done(reading(job.source.name, job.record.tray, area=float(os.getpid())), job.stem, "", (), b"")
    return Done(reading(job.source.name, job.record.tray, area=float(len(data))), job.stem, "", (), b"")


def __getattr__(name):
    if name == "broken":
        os._exit(5)
    raise AttributeError(name)
