"""The same night on a Dask cluster of two workers on this machine."""

from __future__ import annotations

import dask
import pytest
from distributed import LocalCluster

from canopy.errors import UsageError
from canopy.nightly.cluster import cluster
from canopy.settings import Settings
from canopy.store.readings import TABLES

from .conftest import counts

HAZARDS = "nightly.hazards:outcomes"
# Of Dask's own modules and of its threads at their end.
pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(scope="module")
def address():
    settings = {
        "distributed.scheduler.allowed-failures": 4,  # photos in line behind a deadly one are suspected as well
        "distributed.worker.multiprocessing-method": "spawn",
        "distributed.logging.distributed": "critical",
    }
    with (
        dask.config.set(settings),
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50) as running,
    ):
        yield running.scheduler_address


def test_the_tables_are_those_of_one_process(share, address, tmp_path, monkeypatch):
    monkeypatch.setattr("canopy.nightly.pool.WORK", HAZARDS)
    monkeypatch.setattr("canopy.nightly.cluster.WORK", HAZARDS)
    for k in range(9):
        share.put(f"{k % 3}/R1_{k}.jpg", b"x" * (k + 1))
    share.put("2/R1_copy.jpg", b"x" * 9)
    share.put("1/R1_once.jpg", f"once {tmp_path / 'died'}".encode())  # its first worker dies
    share.put("1/R2_die.jpg", b"die")  # all its workers die
    share.options = {"scheduler": address}
    night = share.one_pass()
    assert counts(night) == (10, 1, 0, 0, 1)
    assert [(aside.photo, aside.code) for aside in night.set_aside] == [("1/R2_die.jpg", "process_died")]
    assert (tmp_path / "died").exists()
    tables = {name: share.read(name) for name in TABLES}
    share.store = str(tmp_path / "kept" / "one.db")
    share.options = {"workers": 1}
    share.one_pass()
    for name, table in tables.items():
        assert share.read(name).equals(table), name


def test_workers_that_cannot_be_used_are_told(address):
    with pytest.raises(UsageError, match="nobody answers"), cluster("tcp://127.0.0.1:1", Settings()):
        pass
    with (
        LocalCluster(n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None) as threads,
        pytest.raises(UsageError, match="workers of several threads; start them with `--nthreads 1`"),
        cluster(threads.scheduler_address, Settings()),
    ):
        pass
    with (
        LocalCluster(n_workers=0, dashboard_address=None) as none,
        pytest.raises(UsageError, match="has no workers; start some with `dask worker"),
        cluster(none.scheduler_address, Settings()),
    ):
        pass
