"""What more processes bring: photos a minute of `canopy nightly --workers N`, beside decoding the same photos alone.

    OMP_NUM_THREADS=1 python -m benchmarks.workers                           # 24 photos of 3 megapixels, 1 and 2
    OMP_NUM_THREADS=1 python -m benchmarks.workers --photos 60 --width 4000 --workers 1 2 4
    OMP_NUM_THREADS=1 python -m benchmarks.workers --cluster                 # by the workers of a Dask cluster here

Photos are drawn trays; each is told from its copies by a number after its end, which no decoder looks at. What a pass
over an empty folder and one photo takes (the start of program and processes) is taken off, so that the rest is the rate
at which a long night goes on. All stores must be equal to the last byte. Decoding alone, at full size by OpenCV, shows
what the machine gives to that many processes at that hour.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from itertools import product
from pathlib import Path

import cv2
import numpy as np

from benchmarks.faults import AGE_S, KINDS, draw

TABLES = ("cells", "trays", "criteria", "remarks")


def many(drawn: dict[str, bytes], count: int) -> dict[str, bytes]:
    """So many photos, all of different content."""
    names = sorted(drawn)
    return {f"{k:04}_{names[k % len(names)]}": drawn[names[k % len(names)]] + b"%d" % k for k in range(count)}


def fill(folder: Path, photos: dict[str, bytes], trays: str) -> None:
    folder.mkdir()
    (folder / "trays.csv").write_text(trays)
    then = time.time() - AGE_S
    for name, data in photos.items():
        (folder / name).write_bytes(data)
        os.utime(folder / name, (then, then))


def pass_s(folder: Path, store: Path, workers: int, address: str) -> float:
    """Seconds of one pass, the whole process."""
    by = ["--scheduler", address] if address else ["--workers", str(workers)]
    command = [sys.executable, "-m", "canopy", "nightly", str(folder), "--store", str(store), *by]
    began = time.perf_counter()
    code = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False).returncode
    if code not in {0, 1}:  # 1: small photos may be set aside as too coarse
        raise SystemExit(f"{' '.join(command)}: exit code {code}")
    return time.perf_counter() - began


@contextmanager
def dask_of(workers: int, wanted: bool) -> Iterator[str]:
    """Address of a cluster of so many workers on this machine; empty where none is wanted."""
    if not wanted:
        yield ""
        return
    from distributed import LocalCluster

    with LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None, silence_logs=50) as running:
        yield running.scheduler_address


def exported(folder: Path, store: Path) -> list[bytes]:
    """All tables, as files."""
    found = []
    for table in TABLES:
        out = store.with_suffix(f".{table}.csv")
        command = ["export", str(folder), "--store", str(store), "--table", table, "--out", str(out)]
        subprocess.run([sys.executable, "-m", "canopy", *command], check=True, stdout=subprocess.DEVNULL)
        found.append(out.read_bytes())
    return found


def decode(photo: bytes) -> int:
    cv2.setNumThreads(1)
    return int(cv2.imdecode(np.frombuffer(photo, np.uint8), cv2.IMREAD_COLOR).size)


def decode_s(photos: list[bytes], workers: int) -> float:
    """Seconds to decode all photos in so many processes, their start left out."""
    with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn")) as pool:
        list(pool.map(decode, photos[:1] * 4 * workers))
        began = time.perf_counter()
        list(pool.map(decode, photos))
        return time.perf_counter() - began


def show(rates: dict[int, list[tuple[float, float]]]) -> None:
    """Photos a minute, the median of all turns, and how many times that of the first number of processes."""
    medians = {workers: [statistics.median(of) for of in zip(*each, strict=True)] for workers, each in rates.items()}
    first = next(iter(medians.values()))
    for workers, (read, decoded) in medians.items():
        print(
            f"{workers} processes: {60 * read:6.1f} photos a minute ({read / first[0]:.2f} ×), "
            f"decoding alone {60 * decoded:6.0f} ({decoded / first[1]:.2f} ×)"
        )
    print(f"load of the machine over the last 5 minutes: {os.getloadavg()[1]:.1f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=int, default=24, help="photos of one pass (default 24)")
    parser.add_argument("--width", type=int, default=2000, help="their width in pixels (default 2000)")
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2], help="numbers of processes (default 1 2)")
    parser.add_argument("--cluster", action="store_true", help="by the workers of a Dask cluster on this machine")
    parser.add_argument("--repeat", type=int, default=3, help="passes of each sort, in turns (default 3)")
    given = parser.parse_args()
    drawn, trays = draw(len(KINDS), given.width)
    photos = many(drawn, given.photos)
    print(f"{given.photos} photos of {given.width} × {given.width * 3 // 4} pixels, {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as scratch:
        folder, one = Path(scratch) / "share", Path(scratch) / "one"
        fill(folder, photos, trays)
        fill(one, many(drawn, 1), trays)
        rates: dict[int, list[tuple[float, float]]] = {workers: [] for workers in given.workers}
        tables = []
        for turn, workers in product(range(given.repeat), given.workers):  # in turns, so that a busy minute meets all
            store = Path(scratch) / f"{turn}_{workers}.db"
            with dask_of(workers, given.cluster) as address:
                if address:  # let every worker load what it needs
                    pass_s(folder, Path(scratch) / f"warm{turn}_{workers}.db", workers, address)
                start_s = pass_s(one, Path(scratch) / f"start{turn}_{workers}.db", workers, address)
                took = pass_s(folder, store, workers, address) - start_s
            rates[workers].append(((given.photos - 1) / took, given.photos / decode_s(list(photos.values()), workers)))
            tables.append(exported(folder, store))
    show(rates)
    equal = all(table == tables[0] for table in tables)
    print("tables equal to the last byte" if equal else "TABLES DIFFER")
    sys.exit(not equal)


if __name__ == "__main__":
    main()
