"""Does the gate refuse the photos that would be measured wrongly, and no others?

    python -m benchmarks.quality                       # every kind once, each fault of the camera at three strengths
    python -m benchmarks.quality --kinds plain hand --count 3 --width 1600

Drawn trays whose truth is known are measured twice: with every bound of the gate at its widest, for the true error, and
as they are, for the decision. Printed are the statistics of each photo, the decision and the error; then how many of
those beyond 15 % were refused and how many below 5 % were. The error of a photo is that of its whole canopy area; the
median over its cells stands beside it.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace

import cv2
import numpy as np
import pandas as pd

from canopy.analyse import Worked, work_through
from canopy.errors import PhotoError
from canopy.measure.doubts import doubt_share
from canopy.photo.glare import glare_share
from canopy.photo.light import clipped_share, green_ratio
from canopy.photo.quality import blurs_mm_of
from canopy.records import TrayRecord
from canopy.settings import Settings
from canopy.synthetic.files import jpeg_bytes, tray_line
from canopy.synthetic.kinds import KINDS
from canopy.synthetic.render import render
from canopy.synthetic.scene import Scene
from canopy.synthetic.scenes import make_scene
from canopy.synthetic.truth import measure_truth

FIRST_SEED = 960_000
WRONG, RIGHT = 0.15, 0.05
FAULTS: dict[str, tuple[dict[str, float], ...]] = {
    "defocus": ({"defocus_px": 1.5}, {"defocus_px": 3.0}, {"defocus_px": 6.0}),
    "motion": ({"motion_px": 3.0}, {"motion_px": 7.0}, {"motion_px": 15.0}),
    "dark": ({"grey": 0.03, "noise": 0.02}, {"grey": 0.015, "noise": 0.03}, {"grey": 0.008, "noise": 0.05}),
    "bright": ({"grey": 0.5}, {"grey": 0.9}, {"grey": 1.6}),
    "noise": ({"noise": 0.06}, {"noise": 0.12}, {"noise": 0.25}),
    "haze": ({"haze": 0.08}, {"haze": 0.2}, {"haze": 0.5}),
}
FAULTY_KINDS = ("plain", "seedlings")
WIDTHS_PX = (400, 600, 900)
WIDEST = {
    "photo": {
        "max_blur_mm": 10.0, "max_blur_px": 20.0, "unclear_doubt": 100.0, "seedling_max_mm_per_px": 20.0,
        "finish_max_mm_per_px": 20.0, "mat_max_mm_per_px": 20.0,
    }
}  # fmt: skip


def scenes(kinds: list[str], count: int, width_px: int, *, faults: bool) -> Iterator[tuple[str, Scene]]:
    """Names and scenes: every kind, then every fault of the camera and every small width."""
    for number, kind in enumerate(kinds):
        for n in range(count):
            yield kind, _scene(kind, FIRST_SEED + 100 * number + n, width_px)
    if not faults:
        return
    seed = FIRST_SEED + 10_000
    for kind in FAULTY_KINDS:
        for fault, looks in FAULTS.items():
            for strength, look in enumerate(looks, start=1):
                seed += 1
                scene = _scene(kind, seed, width_px)
                yield f"{kind} {fault} {strength}", replace(scene, look=replace(scene.look, **look))
        for small_px in WIDTHS_PX:
            seed += 1
            yield f"{kind} {small_px} px", _scene(kind, seed, small_px)


def _scene(kind: str, seed: int, width_px: int) -> Scene:
    return make_scene(kind, seed=seed, width_px=width_px, height_px=width_px * 3 // 4)


def judge(name: str, scene: Scene) -> dict[str, object]:
    """One row: statistics, decision and true error of a drawn photo."""
    cv2.setNumThreads(1)
    truth = measure_truth(scene)
    photo = jpeg_bytes(render(scene), scene)
    line = tray_line(scene, truth, file_name="photo.jpg", taken_at=None)
    record = TrayRecord(
        tray="drawn",
        layout=scene.layout,
        stage=str(line["stage"]),
        has_markers=True,
        camera_height_mm=scene.camera.z_mm,
        canopy_height_mm=line["canopy_height_mm"] or None,
    )
    row: dict[str, object] = {"photo": name, "decision": "good"}
    try:
        reading = work_through(photo, record, settings=Settings()).reading
        quality = reading.trays["quality"].iloc[0]
        row["decision"] = "good" if quality == "good" else " ".join(sorted({r.code for r in reading.remarks}))
    except PhotoError as error:
        row["decision"] = f"refused: {error.code}"
    try:
        worked = work_through(photo, record, settings=Settings.model_validate(WIDEST))
    except PhotoError:
        return row
    return row | _statistics(worked) | _errors(worked, truth)


def _statistics(worked: Worked) -> dict[str, object]:
    settings = Settings().photo
    rgb, mm_per_px = worked.rectified.rgb, worked.rectified.mm_per_px
    blurs = blurs_mm_of(rgb, mm_per_px=mm_per_px, settings=settings)
    return {
        "blur_mm": max(blurs, default=np.nan),
        "blur_ratio": max(blurs) / max(min(blurs), 1e-3) if blurs else np.nan,
        "clipped": clipped_share(rgb, worked.segmentation.cover >= 0.5, settings=settings),
        "light": float(np.quantile(rgb.mean(axis=2), 0.9)),
        "green": green_ratio(rgb, settings=settings),
        "glare": glare_share(rgb, mm_per_px=mm_per_px, settings=settings),
        "tilt": worked.frame.tilt_deg,
        "mm_per_px": worked.frame.mm_per_px,
        "agree": worked.segmentation.agreement,
        "doubt": doubt_share(worked.segmentation),
        "plant_doubt": doubt_share(worked.segmentation, plants_only=True),
    }


def _errors(worked: Worked, truth: pd.DataFrame) -> dict[str, object]:
    cells = worked.reading.cells[["cell", "state", "area_mm2"]].merge(
        truth[["cell", "area_mm2"]], on="cell", suffixes=("", "_true")
    )
    both = cells[(cells.area_mm2_true > 0) & (cells.state == "planted")]
    return {
        "error": float(cells.area_mm2.sum() / cells.area_mm2_true.sum() - 1),
        "cell_error": float((both.area_mm2 / both.area_mm2_true - 1).abs().median()),
    }


def summary(rows: pd.DataFrame, column: str) -> str:
    """How many of the wrongly and of the rightly measured photos were refused, by an error column."""
    refused, error = rows.decision.str.startswith("refused"), rows[column].abs()
    wrong, right = error > WRONG, error < RIGHT
    said = rows.decision.ne("good")
    return (
        f"{column}: beyond {WRONG:.0%}: refused {int((refused & wrong).sum())} of {int(wrong.sum())}, "
        f"refused or doubted {int((said & wrong).sum())}; "
        f"below {RIGHT:.0%}: refused {int((refused & right).sum())} of {int(right.sum())}, "
        f"refused or doubted {int((said & right).sum())}"
    )


def main() -> None:
    """Command line of the gate's table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kinds", nargs="*", default=list(KINDS), choices=KINDS, metavar="KIND")
    parser.add_argument("--count", type=int, default=1, help="trays of each kind")
    parser.add_argument("--width", type=int, default=1200, help="picture width in pixels (4:3)")
    parser.add_argument("--no-faults", action="store_true", help="kinds alone, without faults of the camera")
    given = parser.parse_args()
    made = scenes(given.kinds, given.count, given.width, faults=not given.no_faults)
    rows = pd.DataFrame([judge(name, scene) for name, scene in made])
    print(rows.to_string(index=False, float_format="{:.3f}".format))
    unlocated = rows[rows["error"].isna()] if "error" in rows else rows
    print(f"\n{len(rows)} photos, {len(unlocated)} of them refused before anything could be measured")
    if "error" in rows:
        print(summary(rows.dropna(subset="error"), "error"))
        print(summary(rows.dropna(subset="error"), "cell_error"))


if __name__ == "__main__":
    main()
