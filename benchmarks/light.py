"""What uneven and coloured light does to colour indices, and what is left once it is taken out.

    python -m benchmarks.light                            # kinds bars, side, warm, plain; unseen seeds
    python -m benchmarks.light --kinds bars --count 5 --width 2000

Each tray is drawn twice, in its own light and in even white light with the same camera; both are read with the same
outlines. Printed is how far a plant's index in its own light is from the same plant's in even light: the spread over
the tray (standard deviation) and the shift (median), as photographed and after correction.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import cv2
import numpy as np
import pandas as pd

from canopy.analyse import Worked, work_through
from canopy.errors import PhotoError
from canopy.measure.health import plant_colours
from canopy.measure.pixels import plant_pixels
from canopy.measure.relight import read_light
from canopy.records import TrayRecord
from canopy.settings import Settings
from canopy.synthetic.files import jpeg_bytes
from canopy.synthetic.render import render
from canopy.synthetic.scene import Scene
from canopy.synthetic.scenes import make_scene
from canopy.tray import rectify

FIRST_SEED = 900_000
INDICES = ("exg", "ngrdi", "gli", "dgci", "hue_deg", "l_star", "yellow_fraction")


def even_white(scene: Scene) -> Scene:
    """The same scene in even white light through a lens without vignetting, white balance right."""
    light = replace(scene.light, rgb=(1.0, 1.0, 1.0), unevenness=0.0, bars=0.0, tint_unevenness=0.0)
    return replace(scene, light=light, look=replace(scene.look, vignetting=0.0, balance=(1.0, 1.0, 1.0)))


def worked_of(scene: Scene, settings: Settings) -> Worked:
    record = TrayRecord(tray="t", layout=scene.layout, has_markers=True, camera_height_mm=scene.camera.z_mm)
    return work_through(jpeg_bytes(render(scene), scene), record, settings=settings)


def compare(kind: str, seed: int, width_px: int) -> list[dict[str, object]]:
    """Rows of one tray: spread and shift of each index before and after correction."""
    cv2.setNumThreads(1)
    settings = Settings()
    scene = make_scene(kind, seed=seed, width_px=width_px, height_px=width_px * 3 // 4)
    try:
        worked = worked_of(scene, settings)
        even = worked_of(even_white(scene), settings)
    except PhotoError as error:
        return [{"kind": kind, "seed": seed, "refused": error.code}]
    raster = worked.rectified
    pixels = plant_pixels(worked.segmentation, cells=scene.layout.cells, mm_per_px=raster.mm_per_px)
    planted = (worked.reading.cells["state"] == "planted").to_numpy(dtype=bool)
    reference = rectify(
        even.photo, worked.frame, scene.layout, mm_per_px=raster.mm_per_px, margin_mm=settings.scale.margin_mm
    )
    light = read_light(worked.photo, worked.frame, raster, worked.segmentation, scene.layout, settings=settings)
    colour = settings.measure.colour
    truth = plant_colours(reference.rgb, pixels, settings=colour)
    plain = plant_colours(raster.rgb, pixels, settings=colour)
    after = plant_colours(raster.rgb, pixels, settings=colour, light=light)
    field = light.field
    rows = []
    for name in INDICES:
        (spread_before, shift_before), (spread_after, shift_after) = (
            _away(found[name], truth[name], planted) for found in (plain, after)
        )
        rows.append(
            {
                "kind": kind, "seed": seed, "index": name,
                "own_sd": float(np.nanstd(truth[name][planted])),
                "spread_before": spread_before, "spread_after": spread_after,
                "shift_before": shift_before, "shift_after": shift_after,
                "field": field.spread if field else 0.0, "explained": field.explained if field else np.nan,
                "source": light.correction.source,
            }
        )  # fmt: skip
    return rows


def _away(found: np.ndarray, truth: np.ndarray, planted: np.ndarray) -> tuple[float, float]:
    difference = (found - truth)[planted]
    if not np.isfinite(difference).any():
        return float("nan"), float("nan")
    return float(np.nanstd(difference)), float(abs(np.nanmedian(difference)))


def main() -> None:
    """Command line of the comparison."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kinds", nargs="*", default=["bars", "side", "warm", "plain"])
    parser.add_argument("--count", type=int, default=3, help="trays of each kind")
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--width", type=int, default=1400, help="picture width in pixels (4:3)")
    given = parser.parse_args()
    seeds = range(given.first_seed, given.first_seed + given.count)
    table = pd.DataFrame([row for kind in given.kinds for seed in seeds for row in compare(kind, seed, given.width)])
    print(table.to_string(index=False, float_format="{:.4f}".format))
    numbers = ["own_sd", "spread_before", "spread_after", "shift_before", "shift_after"]
    print("\nmeans by kind and index\n" + table.groupby(["kind", "index"])[numbers].mean().to_string())


if __name__ == "__main__":
    main()
