"""Damaged pictures without end: no crash, no hang, memory bounded, and a reason for each that gives no reading.

    OMP_NUM_THREADS=1 python -m benchmarks.damaged                    # 200 pictures
    OMP_NUM_THREADS=1 python -m benchmarks.damaged --count 10000      # half an hour on one core

A few small drawn trays as JPEG, PNG, WebP, TIFF and HEIC are spoilt from a seed: flipped bits, cut ends, spliced
parts of two files, overwritten headers, EXIF and ICC profiles full of nonsense, sizes that claim gigapixels, wrong
endings. Each goes through the work of a nightly pass in one bounded process. Exit code 1 when one of them ends the
process, takes longer than it may, or is set aside without a reason of the list; a reading is no fault, since much
damage does not show.
"""

from __future__ import annotations

import argparse
import io
import os
import random
import struct
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pillow_heif
from PIL import Image

from benchmarks.faults import draw
from canopy.batch.folder import Source
from canopy.batch.job import Done, Job, SetAside
from canopy.batch.trays_csv import lines_for, read_trays
from canopy.nightly.look import Entry
from canopy.nightly.pool import WORK, Pool, Task
from canopy.readiness import known_recipes
from canopy.reasons import REASONS
from canopy.records import TrayRecord
from canopy.settings import Settings

FAULTS = {"failed", "process_died", "too_slow", "out_of_memory"}
"""Reasons that say that the tool was surprised, not that a picture is damaged."""

LAST_CHANGE_NS = 1_780_300_000_000_000_000  # in June 2026, after the drawn photos were taken
EXIF = b"Exif\0\0II*\0\x08\0\0\0"


@dataclass
class Tally:
    """What became of the pictures."""

    ends: Counter[str] = field(default_factory=Counter)
    worst: list[str] = field(default_factory=list)
    slowest: tuple[float, float, str] = (0.0, 0.0, "")


def originals(width_px: int) -> list[tuple[bytes, TrayRecord]]:
    """Whole pictures of every kind of file, each with what the tray list says of it."""
    pillow_heif.register_heif_opener()
    drawn, trays = draw(4, width_px)
    found = []
    for number, (name, data) in enumerate(drawn.items()):
        record = _record(trays, name)
        found.append((data, record))
        image = Image.open(io.BytesIO(data)).convert("RGB")
        for kind, options in (("PNG", {}), ("WEBP", {}), ("TIFF", {"compression": "tiff_lzw"}), ("HEIF", {}))[number:]:
            found.append((_as(image, kind, **options), record))
        if number == 0:
            found += [(_as(image.convert(mode), "JPEG"), record) for mode in ("CMYK", "L")]
    return found


def _as(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def _record(trays: str, name: str) -> TrayRecord:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "trays.csv"
        file.write_text(trays)
        record = lines_for(name, read_trays(file, recipes=known_recipes()))[0].record
    assert record is not None
    return record


def flipped(data: bytes, rng: random.Random, _: bytes) -> bytes:
    spoilt = bytearray(data)
    for _bit in range(rng.choice((1, 3, 30, 300))):
        spoilt[rng.randrange(len(spoilt))] ^= 1 << rng.randrange(8)
    return bytes(spoilt)


def flipped_head(data: bytes, rng: random.Random, _: bytes) -> bytes:
    head = min(len(data), 700)
    return flipped(data[:head], rng, b"") + data[head:]


def cut(data: bytes, rng: random.Random, _: bytes) -> bytes:
    return data[: rng.randrange(len(data))]


def hollow(data: bytes, rng: random.Random, _: bytes) -> bytes:
    """Zeros where a transfer lost a piece."""
    start = rng.randrange(len(data))
    end = min(len(data), start + rng.choice((16, 512, 4096, 65536)))
    return data[:start] + bytes(end - start) + data[end:]


def spliced(data: bytes, rng: random.Random, other: bytes) -> bytes:
    """The beginning of one file and the end of another."""
    return data[: rng.choice((20, 200, rng.randrange(len(data))))] + other[rng.randrange(len(other)) :]


def nonsense_head(data: bytes, rng: random.Random, _: bytes) -> bytes:
    start, length = rng.randrange(2, 200), rng.randrange(1, 64)
    return data[:start] + rng.randbytes(length) + data[start + length :]


def _with_segment(data: bytes, marker: int, body: bytes) -> bytes:
    body = body[:65000]
    return data[:2] + struct.pack(">BBH", 0xFF, marker, len(body) + 2) + body + data[2:]


def nonsense_exif(data: bytes, rng: random.Random, _: bytes) -> bytes:
    """Entries of any tag, kind, count and offset; a chain that leads back into itself."""
    if not data.startswith(b"\xff\xd8"):
        return flipped(data, rng, b"")
    entries = b"".join(
        struct.pack("<HHII", rng.choice((0x0112, 0x8769, 0x8825, 0x9003, rng.randrange(65536))), rng.randrange(16),
                    rng.choice((1, 2, 2**31, rng.randrange(2**32))), rng.choice((8, rng.randrange(2**32))))
        for _entry in range(rng.randrange(1, 40))
    )  # fmt: skip
    block = EXIF + struct.pack("<H", rng.choice((len(entries) // 12, 65535))) + entries + struct.pack("<I", 8)
    return _with_segment(data, 0xE1, block + rng.randbytes(rng.randrange(200)))


def nonsense_profile(data: bytes, rng: random.Random, _: bytes) -> bytes:
    """A colour profile that claims a size and tables that are not there."""
    if not data.startswith(b"\xff\xd8"):
        return nonsense_head(data, rng, b"")
    profile = struct.pack(">I", rng.choice((128, 2**31, rng.randrange(2**32)))) + b"lcms\x04\0\0\0mntrRGB XYZ "
    profile += rng.randbytes(12) + b"acsp" + rng.randbytes(rng.randrange(100, 3000))
    return _with_segment(data, 0xE2, b"ICC_PROFILE\0\x01\x01" + profile)


def gigapixels(data: bytes, rng: random.Random, _: bytes) -> bytes:
    """A header that claims a size that no memory holds."""
    width, height = rng.choice(((65535, 65535), (1_000_000, 100_000), (65500, 1), (2**31 - 1, 2**31 - 1), (0, 0)))
    if data.startswith(b"\x89PNG"):
        return data[:16] + struct.pack(">II", width % 2**32, height % 2**32) + data[24:]
    at = next((data.find(bytes((0xFF, frame))) for frame in (0xC0, 0xC2) if bytes((0xFF, frame)) in data), -1)
    if not data.startswith(b"\xff\xd8") or at < 0:
        return nonsense_head(data, rng, b"")
    return data[: at + 5] + struct.pack(">HH", height % 65536, width % 65536) + data[at + 9 :]


def whole(data: bytes, _rng: random.Random, _other: bytes) -> bytes:
    """Nothing but the ending of its name is wrong."""
    return data


def noise(_data: bytes, rng: random.Random, _: bytes) -> bytes:
    return rng.choice((b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF0000WEBP", b"II*\0")) + rng.randbytes(3000)


DAMAGES: tuple[Callable[[bytes, random.Random, bytes], bytes], ...] = (
    flipped, flipped_head, cut, hollow, spliced, nonsense_head, nonsense_exif, nonsense_profile, gigapixels, whole,
    noise,
)  # fmt: skip
ENDINGS = (".jpg", ".png", ".webp", ".tif", ".heic", ".gif", ".bmp")


def cpu_s(pool: Pool) -> float:
    """Processor time of the process that reads photos, seconds; a busy machine lets it wait besides."""
    if not pool.workers:
        return 0.0
    fields = Path(f"/proc/{pool.workers[0].process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def peak_mb(pid: int) -> float:
    """Highest resident memory of a process so far."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return float(next(line.split()[1] for line in lines if line.startswith("VmHWM"))) / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200, help="pictures (default 200)")
    parser.add_argument("--width", type=int, default=640, help="width of the originals in pixels (default 640)")
    parser.add_argument("--seed", type=int, default=1, help="of all damage (default 1)")
    parser.add_argument("--longest-s", type=float, default=10.0, help="seconds that one may take (default 10)")
    given = parser.parse_args()
    rng = random.Random(given.seed)
    sources = originals(given.width)
    settings = Settings.model_validate({"nightly": {"photo_max_s": given.longest_s, "worker_photos": 1_000_000}})
    pool, tally, peak = Pool(1, settings, WORK), Tally(), 0.0
    began = time.monotonic()
    try:
        for number in range(given.count):
            damage = DAMAGES[number % len(DAMAGES)]
            source, record = rng.choice(sources)
            data = damage(source, rng, rng.choice(sources)[0])
            name = f"{number:05}_{damage.__name__}{rng.choice(ENDINGS)}"
            job = Job(Source(Path(name), name, Path(), True), name, record, None)
            task = Task((job,), data, Entry(name, len(data), LAST_CHANGE_NS))
            started, used = time.monotonic(), cpu_s(pool)
            pool.give(task)
            end = pool.outcomes(task)[0]
            if number:  # the first waits for the process to start
                took = time.monotonic() - started, cpu_s(pool) - used, name
                tally.slowest = max(tally.slowest, took)
            note(tally, damage.__name__, end)
            if number % 50 == 0 or number == given.count - 1:
                peak = max([peak, *(peak_mb(worker.process.pid or 0) for worker in pool.workers)])
    finally:
        pool.close()
    print(f"{given.count} pictures of {len(sources)} originals, seed {given.seed}, in {time.monotonic() - began:.0f} s")
    for what, count in sorted(tally.ends.items()):
        print(f"  {what:<36} {count:6}")
    wall_s, used_s, name = tally.slowest
    print(f"slowest {wall_s:.1f} s, {used_s:.1f} s of them at work ({name}); peak memory of the process {peak:.0f} MB")
    for line in tally.worst[:20]:
        print(f"FAULT: {line}")
    print("each was read or has its reason" if not tally.worst else f"{len(tally.worst)} FAULTS")
    sys.exit(bool(tally.worst))


def note(tally: Tally, damage: str, end: Done | SetAside) -> None:
    """Count an end; one that no reason of the list accounts for is a fault."""
    if isinstance(end, Done):
        tally.ends[f"{damage}: read"] += 1
        return
    tally.ends[f"{damage}: {end.code}"] += 1
    if end.code in FAULTS or end.code not in REASONS or not end.message:
        tally.worst.append(f"{end.code}: {end.message}")


if __name__ == "__main__":
    main()
