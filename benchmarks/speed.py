"""What one photo costs on one core: the whole `score` work as multiples of decoding its JPEG, and peak memory.

    OMP_NUM_THREADS=1 python -m benchmarks.speed                 # a 12-megapixel photo of 72 cells
    OMP_NUM_THREADS=1 python -m benchmarks.speed --kind finish --repeat 9

All figures come from one run on one machine; ratios mean more than milliseconds.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest import mock

import cv2
import numpy as np

FIRST_SEED = 910_000


# Each part of the work: what it is, and the module and name under which the step above calls it.
PARTS = (
    ("decode at the size needed", "canopy.analyse", "decode"),
    ("find the tray", "canopy.analyse", "locate_tray"),
    ("see it from straight above", "canopy.analyse", "rectify"),
    ("shrink for the network", "canopy.segment.cells", "make_feed"),
    ("network", "canopy.segment.cells", "ask_network"),
    ("tidy", "canopy.segment.cells", "tidy_canopy"),
    ("edges", "canopy.segment.cells", "refine_edges"),
    ("part plants", "canopy.segment.cells", "split_plants"),
    ("owner of each pixel", "canopy.segment.cells", "spread_owners"),
    ("quality of the photo", "canopy.analyse", "check_quality"),
    ("measure cells", "canopy.analyse", "measure_cells"),
    ("score cells", "canopy.analyse", "score_cells"),
    ("measure the tray", "canopy.analyse", "measure_tray"),
)


def seconds(*works: Callable[[], object], repeat: int) -> list[float]:
    """Median time of one call of each, after one to warm up; taken in turns, so that a busy minute meets all."""
    for work in works:
        work()
    times: list[list[float]] = [[] for _ in works]
    for _ in range(repeat):
        for work, took in zip(works, times, strict=True):
            began = time.perf_counter()
            work()
            took.append(time.perf_counter() - began)
    return [statistics.median(took) for took in times]


def seconds_of_parts(work: Callable[[], object], repeat: int) -> dict[str, float]:
    """Median time of each of `PARTS` in one call of `work`, parts within it left out, and of the rest."""
    runs: list[dict[str, float]] = []
    for _ in range(repeat):
        took: dict[str, float] = {}
        within: list[float] = []
        with contextlib.ExitStack() as stack:
            for what, module_name, name in PARTS:
                module = importlib.import_module(module_name)
                timed = _timed(getattr(module, name), what, took, within)
                stack.enter_context(mock.patch.object(module, name, timed))
            began = time.perf_counter()
            work()
            whole = time.perf_counter() - began
        runs.append(took | {"the rest": whole - sum(took.values())})
    return {what: statistics.median(run.get(what, 0.0) for run in runs) for what in runs[0]}


def _timed(step: Callable[..., Any], what: str, took: dict[str, float], within: list[float]) -> Callable[..., Any]:
    """The step, adding its own time to `took`; `within` holds, for each step under way, the time of those inside it."""

    def run(*args: Any, **kwargs: Any) -> Any:
        began = time.perf_counter()
        within.append(0.0)
        result = step(*args, **kwargs)
        elapsed = time.perf_counter() - began
        took[what] = took.get(what, 0.0) + elapsed - within.pop()
        if within:
            within[-1] += elapsed
        return result

    return run


def decode_full(photo: bytes) -> None:
    """The yardstick: OpenCV decodes the JPEG once at full size."""
    cv2.imdecode(np.frombuffer(photo, np.uint8), cv2.IMREAD_COLOR)


def plain_script(photo: bytes) -> object:
    """What a plain scikit-image script does: read, Lab, Otsu, clean, label, regionprops."""
    from skimage.color import rgb2lab
    from skimage.filters import threshold_otsu
    from skimage.io import imread
    from skimage.measure import label, regionprops_table
    from skimage.morphology import opening, remove_small_objects

    with tempfile.NamedTemporaryFile(suffix=".jpg") as file:
        file.write(photo)
        file.flush()
        rgb = imread(file.name)
    lab = rgb2lab(rgb)
    mask = lab[..., 1] < threshold_otsu(lab[..., 1])
    labels = label(remove_small_objects(opening(mask, np.ones((3, 3), bool)), max_size=64))
    return regionprops_table(labels, lab, properties=("label", "area", "centroid", "solidity", "mean_intensity"))


def sample(kind: str, width_px: int) -> tuple[bytes, dict[str, object]]:
    """A drawn photo and what the tray list would say of it."""
    from canopy.synthetic.files import jpeg_bytes, tray_line
    from canopy.synthetic.render import render
    from canopy.synthetic.scenes import make_scene
    from canopy.synthetic.truth import measure_truth

    scene = make_scene(kind, seed=FIRST_SEED, width_px=width_px, height_px=width_px * 3 // 4)
    line = tray_line(scene, measure_truth(scene), file_name="photo.jpg", taken_at=None)
    record = {"tray": scene.name, "layout": scene.layout, "stage": line["stage"], "has_markers": True}
    return jpeg_bytes(render(scene), scene), record | {
        "camera_height_mm": scene.camera.z_mm, "canopy_height_mm": line["canopy_height_mm"] or None,
    }  # fmt: skip


def peak_of_one(photo: Path, record: Path) -> None:
    """Run one photo in this process and print its peak memory (called in a process of its own)."""
    from canopy.analyse import work_through
    from canopy.records import TrayRecord
    from canopy.settings import Settings

    cv2.setNumThreads(1)
    tray = TrayRecord.model_validate_json(record.read_text())
    work_through(photo.read_bytes(), tray, settings=Settings(), name=photo.name)
    # Not getrusage: on Linux that starts from the peak of the process that started this one.
    peak = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
    print(float(peak.split()[1]) / 1024)


def peak_megabytes(photo: bytes, record: str) -> float:
    """Peak resident memory of a fresh process that measures one photo."""
    with tempfile.TemporaryDirectory() as folder:
        paths = Path(folder, "photo.jpg"), Path(folder, "record.json")
        paths[0].write_bytes(photo)
        paths[1].write_text(record)
        command = [sys.executable, "-m", "benchmarks.speed", "--peak-of", *map(str, paths)]
        return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def help_seconds(repeat: int) -> float:
    """Wall time of `canopy --help`."""
    program = str(Path(sys.executable).with_name("canopy"))
    return seconds(lambda: subprocess.run([program, "--help"], check=True, capture_output=True), repeat=repeat)[0]


def main() -> None:
    """Command line of the speed run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kind", default="plain")
    parser.add_argument("--width", type=int, default=4000)
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--peak-of", type=Path, nargs=2, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.peak_of:
        peak_of_one(*given.peak_of)
        return
    from canopy.analyse import work_through
    from canopy.records import TrayRecord
    from canopy.settings import Settings

    cv2.setNumThreads(1)
    photo, fields = sample(given.kind, given.width)
    tray = TrayRecord.model_validate(fields)
    settings = Settings()

    def score() -> object:
        return work_through(photo, tray, settings=settings, name="photo.jpg")

    whole, decode = seconds(score, lambda: decode_full(photo), repeat=given.repeat)
    parts = seconds_of_parts(score, given.repeat)
    (plain,) = seconds(lambda: plain_script(photo), repeat=1)
    megapixels = given.width * (given.width * 3 // 4) / 1e6
    print(f"{given.kind}: {megapixels:.1f} megapixels, JPEG of {len(photo) / 1e6:.1f} MB, one thread")
    print(f"decode the JPEG once, full size (OpenCV)   {1000 * decode:7.0f} ms")
    print(f"score the photo (no pictures written)      {1000 * whole:7.0f} ms   {whole / decode:5.2f} × decode")
    for what, took in parts.items():
        print(f"  {what:<40} {1000 * took:7.1f} ms   {took / decode:5.2f} × decode")
    print(f"plain scikit-image script                  {1000 * plain:7.0f} ms   score is {whole / plain:.3f} of it")
    print(f"peak memory of scoring it                  {peak_megabytes(photo, tray.model_dump_json()):7.0f} MB")
    print(f"canopy --help                              {1000 * help_seconds(given.repeat):7.0f} ms")


if __name__ == "__main__":
    main()
