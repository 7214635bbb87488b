"""Kills `canopy nightly` at random instants while photos arrive, and compares what is left with an undisturbed run.

    OMP_NUM_THREADS=1 python -m benchmarks.faults                               # 24 photos, 20 kills
    OMP_NUM_THREADS=1 python -m benchmarks.faults --photos 300 --kills 200
    OMP_NUM_THREADS=1 python -m benchmarks.faults --store URL                   # disturb an empty database on a server
    OMP_NUM_THREADS=1 python -m benchmarks.faults --store URL --meanwhile 'pg_ctl -D data -m immediate restart'
    OMP_NUM_THREADS=1 python -m benchmarks.faults --hide                        # the photos' folder goes and comes back
    OMP_NUM_THREADS=1 python -m benchmarks.faults --fill --kept FOLDER  # the disk of FOLDER, a small one, is filled

Photos are drawn trays; some come twice, some are renamed once they are read, some are cut short. At the end both stores
must give equal tables to the last bit, one result for each content, no file too many, no lock. Else the exit code is 1.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from canopy.store.database import opened, sqlite_file
from canopy.store.ledger import photos
from canopy.store.readings import TABLES, table

FIRST_SEED = 930_000
KINDS = ("plain", "seedlings", "red_leaf", "overlap")
AGE_S = 3600.0
SLOWEST_PASS_S = 600.0
# A pass is ended between its start and the time that it needs to begin and read this many photos.
PHOTOS_A_PASS = 3
DOUBLED = "SELECT count(*) FROM (SELECT 1 FROM readings GROUP BY photo_sha256, tray HAVING count(*) > 1) AS twice"


@dataclass(frozen=True)
class Arrival:
    """A file that comes, and the name it is given once it has been read."""

    path: str
    data: bytes
    later: str = ""


def draw(count: int, width_px: int) -> tuple[dict[str, bytes], str]:
    """Photos by name, and their tray list."""
    from canopy.readiness import known_recipes
    from canopy.synthetic.simulate import simulate

    drawn: dict[str, bytes] = {}
    with tempfile.TemporaryDirectory() as scratch:
        out = Path(scratch)
        each = -(-count // len(KINDS))
        taken_at = datetime(2026, 5, 4, 6, 30, tzinfo=UTC)
        made = simulate(
            out, KINDS, count=each, seed=FIRST_SEED, width_px=width_px, height_px=width_px * 3 // 4,
            first_taken_at=taken_at, recipes=known_recipes(),
        )  # fmt: skip
        drawn.update((path.name, path.read_bytes()) for path in made)
        trays = pd.read_csv(out / "trays.csv", dtype=str, keep_default_na=False)
    names = sorted(drawn)[:count]
    # A pattern, so that copies and photos in other folders belong to the same tray.
    trays = trays[trays["photo"].isin(names)].assign(photo=lambda listed: "*" + listed["photo"])
    return {name: drawn[name] for name in names}, trays.to_csv(index=False)


def plan_arrivals(drawn: dict[str, bytes], rng: random.Random) -> list[Arrival]:
    """Photos in the order they come: every sixth comes again, every seventh is renamed, a piece of every fifth comes.

    A copy comes after its original and sorts behind it, so that what it is read under does not hang on the hour.
    """
    arrivals = []
    for number, (name, data) in enumerate(drawn.items()):
        path = f"rack{number % 3}/{name}"
        arrivals.append(Arrival(path, data, f"z_moved/moved_{name}" if number % 7 == 2 else ""))
        if number % 6 == 1:
            arrivals.append(Arrival(f"z_copies/copy_{name}", data))
        if number % 5 == 3:
            arrivals.append(Arrival(f"rack{number % 3}/cut_{name}", data[: rng.randrange(200, len(data) // 2)]))
    return arrivals


def arrive(folder: Path, arrival: Arrival) -> None:
    """Put a file in its place as a careful writer does: under a hidden name first."""
    path = folder / arrival.path
    path.parent.mkdir(parents=True, exist_ok=True)
    hidden = path.with_name(f".{path.name}.part")
    hidden.write_bytes(arrival.data)
    then = time.time() - AGE_S
    os.utime(hidden, (then, then))
    hidden.rename(path)


def rename_read(folder: Path, store: str, arrivals: list[Arrival]) -> None:
    """Give their later names to files whose content the store knows."""
    file = sqlite_file(store)
    if file is not None and not file.exists():
        return
    with opened(store, busy_timeout_s=30, make=True) as kept, kept.reading() as connection:
        known = {photo.sha256 for photo in photos(connection)}
    for arrival in arrivals:
        path = folder / arrival.path
        if arrival.later and path.exists() and hashlib.sha256(arrival.data).hexdigest() in known:
            (folder / arrival.later).parent.mkdir(exist_ok=True)
            path.rename(folder / arrival.later)


def start(folder: Path, store: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "canopy", "nightly", str(folder), "--store", store]
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def undisturbed(folder: Path, store: str, arrivals: list[Arrival]) -> tuple[float, float]:
    """Everything arrives and is read in one pass, files are renamed, and another pass follows; the seconds of both."""
    for arrival in arrivals:
        arrive(folder, arrival)
    first_s = _ended_well(start(folder, store))
    rename_read(folder, store, arrivals)
    return first_s, _ended_well(start(folder, store))


def disturbed(
    folder: Path, store: str, arrivals: list[Arrival], given: argparse.Namespace, rng: random.Random, longest_s: float
) -> int:
    """Let some files arrive, start a pass, end it at a random instant, and again; the passes not ended come back.

    When all the kills have hit, passes run undisturbed until nothing is left to do.
    """
    left, hits, whole = list(arrivals), 0, 0
    while hits < given.kills:
        due = rng.randint(0, 2 * len(left) // (given.kills - hits))
        for arrival in left[:due]:
            arrive(folder, arrival)
        left = left[due:]
        rename_read(folder, store, arrivals)
        racing = [start(folder, store) for _ in range(given.runners)]
        time.sleep(rng.uniform(0, longest_s))
        at_work = [process for process in racing if process.poll() is None]
        with struck(at_work, folder, Path(store), given):
            for process in racing:
                process.wait(SLOWEST_PASS_S)
        hits += bool(at_work)
        whole += not at_work
    for arrival in left:
        arrive(folder, arrival)
    for _ in range(2):
        _ended_well(start(folder, store))
        rename_read(folder, store, arrivals)
    _ended_well(start(folder, store))
    return whole


@contextmanager
def struck(
    at_work: list[subprocess.Popen[bytes]], folder: Path, store: Path, given: argparse.Namespace
) -> Iterator[None]:
    """Do what is to be done to passes at work; it is undone at the end of the block, when they have ended."""
    if given.hide:
        away = folder.with_name("away")
        folder.rename(away)
        yield
        away.rename(folder)
    elif given.fill:
        ballast = store.with_name("ballast")
        with contextlib.suppress(OSError), ballast.open("wb", buffering=0) as file:
            for size in (1 << 16, 1 << 10, 1):
                with contextlib.suppress(OSError):
                    while True:
                        file.write(bytes(size))
        yield
        ballast.unlink()
    elif given.meanwhile:
        subprocess.run(given.meanwhile, shell=True, check=True, stdout=subprocess.DEVNULL)
        yield
    else:
        for process in at_work:
            process.send_signal(signal.SIGTERM if given.term else signal.SIGKILL)
        yield


def _ended_well(process: subprocess.Popen[bytes]) -> float:
    """Wait for a pass that nobody disturbs; its seconds come back."""
    began = time.monotonic()
    code = process.wait(SLOWEST_PASS_S)
    if code not in {0, 1}:
        raise SystemExit(f"a pass that nobody disturbed ended with code {code}")
    return time.monotonic() - began


def differences(expected: str, got: str) -> list[str]:
    """What the two stores say differently."""
    found = []
    with (
        opened(expected, busy_timeout_s=30) as a,
        opened(got, busy_timeout_s=30) as b,
        a.reading() as one,
        b.reading() as other,
    ):
        for name in TABLES:
            # When a reading was put in is the one thing that may differ.
            left, right = (table(c, name).drop(columns="recorded_at", errors="ignore") for c in (one, other))
            try:
                pd.testing.assert_frame_equal(left, right, check_exact=True)
            except AssertionError as error:
                found.append(f"{name}: {' '.join(str(error).split())[:200]}")
        ends = [{(photo.sha256, photo.state, photo.reason) for photo in photos(c)} for c in (one, other)]
        if ends[0] != ends[1]:
            found.append(f"photos: {len(ends[0] ^ ends[1])} contents ended otherwise")
        doubled = other.exec_driver_sql(DOUBLED).scalar()
        if doubled:
            found.append(f"{doubled} contents have two readings of a tray")
    return found


def left_over(folder: Path, store: str, arrivals: list[Arrival]) -> list[str]:
    """Files that should not be there: beside the store, or in the folder."""
    expected = {arrival.later or arrival.path for arrival in arrivals} | {"trays.csv"}
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    orphans = sorted(there ^ expected)
    file = sqlite_file(store)
    if file is not None:
        orphans += sorted(path.name for path in file.parent.iterdir() if path != file)
    return orphans


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=int, default=24, help="drawn photos (default 24)")
    parser.add_argument("--width", type=int, default=1600, help="their width in pixels (default 1600)")
    parser.add_argument("--kills", type=int, default=20, help="passes that are killed (default 20)")
    parser.add_argument("--term", action="store_true", help="ask the pass to end (SIGTERM) instead of killing it")
    parser.add_argument("--hide", action="store_true", help="rename the folder of the photos instead, and back")
    parser.add_argument("--fill", action="store_true", help="fill the disk of the store instead, and free it again")
    parser.add_argument("--meanwhile", help="run this command instead, such as one that restarts the database")
    parser.add_argument("--kept", type=Path, help="folder for the store of the disturbed run, such as a small disk")
    parser.add_argument("--runners", type=int, default=1, help="passes started at once (default 1)")
    parser.add_argument("--seed", type=int, default=1, help="of the instants and of what arrives when (default 1)")
    parser.add_argument("--store", help="store of the disturbed run; by default a file")
    given = parser.parse_args()
    if given.kept and any(given.kept.iterdir()):
        parser.error(f"{given.kept}: is not empty; a store of an earlier run would count as this one's")
    rng = random.Random(given.seed)
    drawn, trays = draw(given.photos, given.width)
    arrivals = plan_arrivals(drawn, rng)
    with tempfile.TemporaryDirectory() as scratch:
        folders = [Path(scratch) / name for name in ("calm", "rough")]
        for folder in folders:
            (folder / "share").mkdir(parents=True)
            (folder / "kept").mkdir()
            (folder / "share" / "trays.csv").write_text(trays)
        calm, rough = (str(folder / "kept" / "canopy.db") for folder in folders)
        rough = given.store or (str(given.kept / "canopy.db") if given.kept else rough)
        first_s, idle_s = undisturbed(folders[0] / "share", calm, arrivals)
        photo_s = max(first_s - idle_s, 0) / len(arrivals)
        began = time.monotonic()
        longest_s = idle_s + PHOTOS_A_PASS * photo_s
        whole = disturbed(folders[1] / "share", rough, arrivals, given, rng, longest_s)
        took = time.monotonic() - began
        found = differences(calm, rough) + left_over(folders[1] / "share", rough, arrivals)
        with opened(rough, busy_timeout_s=30) as store, store.reading() as connection:
            ends = [photo.reason or photo.state for photo in photos(connection)]
    print(f"{len(arrivals)} arrivals of {len(drawn)} photos, seed {given.seed}")
    print(f"undisturbed {first_s:.1f} s; a pass that finds nothing new {idle_s:.1f} s")
    how = next((f"--{name}" for name in ("hide", "fill", "meanwhile", "term") if getattr(given, name)), "SIGKILL")
    print(f"{given.kills} times {given.runners} at once struck by {how}, {whole} times none was left, in {took:.0f} s")
    print(f"contents: {', '.join(f'{count} {end}' for end, count in pd.Series(ends).value_counts().items())}")
    for line in found:
        print(f"DIFFERS: {line}")
    print("tables bit-equal, one result a content, nothing left over" if not found else "NOT EQUAL")
    sys.exit(bool(found))


if __name__ == "__main__":
    main()
