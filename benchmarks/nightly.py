"""What a pass costs over photos that are all known: seconds and peak memory of `canopy nightly`, its process whole.

    OMP_NUM_THREADS=1 python -m benchmarks.nightly                        # 20,000 files, 1,000 a folder
    OMP_NUM_THREADS=1 python -m benchmarks.nightly --files 100000

The files are made up (a number each) and so is what the store knows of them; no photo is worked through.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from canopy.nightly.farm import find_farm
from canopy.nightly.look import listings
from canopy.nightly.rules import read_rules
from canopy.store import ledger
from canopy.store.database import opened
from canopy.store.ledger import READ, File, Photo

TRAYS = "photo,tray,layout,pitch_mm,outline_mm\n*,R1,3x5,50,270x170\n"
AGE_S = 86_400
# What a run in a process of its own prints last: its highest memory, in kilobytes. Not getrusage: on Linux that starts
# from the peak of the process that started this one.
RUN = (
    "import sys\nfrom pathlib import Path\nfrom canopy.cli.app import main\n"
    "try:\n    main(sys.argv[1:])\nexcept SystemExit as stopped:\n    code = stopped.code\n"
    "lines = Path('/proc/self/status').read_text().splitlines()\n"
    "print(next(line.split()[1] for line in lines if line.startswith('VmHWM')))\nsys.exit(code)\n"
)


def make_files(folder: Path, files: int, per_folder: int) -> None:
    """Files as a share holds them after a while: a number in each, a day old."""
    folder.mkdir()
    (folder / "trays.csv").write_text(TRAYS)
    then = time.time() - AGE_S
    for number in range(files):
        below = folder / f"rack{number // per_folder:04}"
        if number % per_folder == 0:
            below.mkdir()
        path = below / f"R1_{number:07}.jpg"
        path.write_bytes(str(number).encode())
        os.utime(path, (then, then))


def make_known(folder: Path, store: Path) -> None:
    """The store as passes over these files would have left it, but for the readings."""
    rules = read_rules(find_farm(folder))
    with opened(str(store), busy_timeout_s=10, make=True) as kept:
        for listing in listings(folder):
            with kept.writing() as connection:
                files = []
                for entry in listing.entries:
                    path = f"{listing.folder}/{entry.name}"
                    sha256 = hashlib.sha256((folder / path).read_bytes()).hexdigest()
                    tried_with = rules.tried_with(rules.jobs(path))
                    photo = Photo(sha256, path, entry.size, entry.mtime_ns, READ, None, None, tried_with)
                    ledger.put_photo(connection, photo)
                    files.append(File(listing.folder, entry.name, entry.size, entry.mtime_ns, sha256, tried_with))
                ledger.put_files(connection, files)
                ledger.put_folder(connection, listing.folder, listing=listing.checksum)


def timed(*arguments: str) -> tuple[float, float, int]:
    """Seconds, peak MB and exit code of a command in a process of its own."""
    began = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", RUN, *arguments], stdout=subprocess.PIPE, text=True, check=False)
    took = time.perf_counter() - began
    return took, int(done.stdout.split()[-1]) / 1024, done.returncode


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--files", type=int, default=20_000, help="known files (default 20,000)")
    parser.add_argument("--per-folder", type=int, default=1_000, help="files in one folder (default 1,000)")
    parser.add_argument("--repeat", type=int, default=3, help="passes of each sort; the fastest counts (default 3)")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder, store = Path(scratch) / "share", Path(scratch) / "canopy.db"
        make_files(folder, given.files, given.per_folder)
        make_known(folder, store)
        empty = Path(scratch) / "empty"
        make_files(empty, 0, 1)
        print(f"{given.files} known files, {given.per_folder} a folder; whole process, fastest of {given.repeat}")
        _show("an empty folder (start of the program)", empty, Path(scratch) / "empty.db", given.repeat)
        _show("nothing has changed", folder, store, given.repeat)
        _show("a file has gone from every folder", folder, store, given.repeat, lose=True)


def _show(what: str, folder: Path, store: Path, repeat: int, *, lose: bool = False) -> None:
    runs = []
    for _ in range(repeat):
        if lose:
            for below in [path for path in folder.iterdir() if path.is_dir()]:
                next(below.iterdir()).unlink()
        seconds, megabytes, code = timed("nightly", str(folder), "--store", str(store))
        if code:
            raise SystemExit(f"{what}: exit code {code}")
        runs.append((seconds, megabytes))
    seconds, megabytes = min(runs)
    print(f"{what:42} {seconds:7.2f} s {megabytes:7.0f} MB")


if __name__ == "__main__":
    main()
