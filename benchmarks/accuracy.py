"""How far off the measurements are: drawn trays against exact truth, real pictures against their masks.

    python -m benchmarks.accuracy                     # 2 trays of every scene kind, unseen seeds
    python -m benchmarks.accuracy --kinds plain algae --count 5 --workers 2
    python -m benchmarks.accuracy --real sample_images/real   # real pictures beside plain "ExG + Otsu"

Every row is printed, bad ones too; the summary by kind and over all comes last.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from skimage.filters import threshold_otsu

from canopy.analyse import Worked, work_through
from canopy.errors import PhotoError
from canopy.measure.agreement import dice
from canopy.outputs.masks import photo_mask
from canopy.readiness import known_recipes
from canopy.records import Layout, TrayRecord
from canopy.settings import Settings
from canopy.synthetic.files import jpeg_bytes, tray_line
from canopy.synthetic.kinds import KINDS
from canopy.synthetic.render import render
from canopy.synthetic.scenes import make_scene
from canopy.synthetic.truth import measure_truth

FIRST_SEED = 900_000
"""Seeds from here on are used for nothing else: the network was fitted on lower ones."""
MASK_SHARE = Settings().outputs.mask_cover_min


def drawn_tray(kind: str, seed: int, width_px: int, keep: Path | None) -> tuple[dict[str, object], pd.DataFrame]:
    """Draw one tray, measure it as a user's photo and compare: a row of the table, and its cells side by side."""
    cv2.setNumThreads(1)
    scene = make_scene(kind, seed=seed, width_px=width_px, height_px=width_px * 3 // 4)
    picture, truth = render(scene), measure_truth(scene)
    photo = jpeg_bytes(picture, scene)
    line = tray_line(scene, truth, file_name=f"{scene.name}.jpg", taken_at=None, recipes=known_recipes())
    record = TrayRecord(
        tray=scene.name,
        layout=scene.layout,
        crop=str(line["crop"]),
        stage=str(line["stage"]),
        has_markers=True,
        camera_height_mm=scene.camera.z_mm,
        canopy_height_mm=line["canopy_height_mm"] or None,
    )
    row: dict[str, object] = {"kind": kind, "seed": seed, "crop": scene.plants[0].cultivar if scene.plants else ""}
    if keep is not None:
        (keep / f"{scene.name}.jpg").write_bytes(photo)
    try:
        worked = work_through(photo, record, settings=Settings(), name=f"{scene.name}.jpg")
    except PhotoError as error:
        return row | {"refused": f"{error.code}: {error}"}, pd.DataFrame()
    cells = _side_by_side(worked, truth).assign(kind=kind, seed=seed)
    mask = photo_mask(worked, cover_min=MASK_SHARE)
    row |= _errors(cells) | {
        "dice": dice(mask > 0, picture.plant > 0),
        "owner": _right_owner(mask, picture.plant),
        "located": worked.frame.located_by,
        "agreement": worked.segmentation.agreement,
    }
    if keep is not None:
        cv2.imwrite(str(keep / f"{scene.name}_errors.jpg"), _error_picture(picture.rgb, mask > 0, picture.plant > 0))
    return row, cells


def _side_by_side(worked: Worked, truth: pd.DataFrame) -> pd.DataFrame:
    """Measured and true values of each cell in one table."""
    found = worked.reading.cells[["cell", "state", "area_mm2", "area_low_mm2", "area_high_mm2"]]
    return truth.rename(columns={"area_mm2": "true_mm2", "state": "true_state"}).merge(found, on="cell")


def _errors(cells: pd.DataFrame) -> dict[str, object]:
    """Error figures of a set of cells; relative area errors over cells that truly hold a plant and were found to."""
    both = cells[(cells.true_state == "planted") & (cells.state == "planted")]
    relative = both.area_mm2 / both.true_mm2 - 1
    held = (both.area_low_mm2 <= both.true_mm2) & (both.true_mm2 <= both.area_high_mm2)
    return {
        "cells": len(cells),
        "planted": int((cells.true_state == "planted").sum()),
        "state_right": float((cells.state == cells.true_state).mean()),
        "median_error": float(relative.abs().median()),
        "p90_error": float(relative.abs().quantile(0.9)),
        "bias": float(both.area_mm2.sum() / both.true_mm2.sum() - 1) if len(both) else np.nan,
        "in_range": float(held.mean()),
        "range_width": float(((both.area_high_mm2 - both.area_low_mm2) / both.area_mm2).median()),
    }


def _right_owner(mask: NDArray[np.uint16], truth: NDArray[np.uint16]) -> float:
    """Share of the plant pixels seen by both that were given to the right cell."""
    both = (mask > 0) & (truth > 0)
    return float((mask[both] == truth[both]).mean()) if both.any() else np.nan


def _error_picture(rgb: NDArray[np.uint8], mask: NDArray[np.bool_], truth: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """The photo at a third of its size with wrongly taken pixels magenta and missed ones cyan (BGR)."""
    out = rgb[..., ::-1].copy()
    out[mask & ~truth] = (255, 0, 255)
    out[truth & ~mask] = (255, 255, 0)
    return np.asarray(cv2.resize(out, None, fx=1 / 3, fy=1 / 3, interpolation=cv2.INTER_AREA), np.uint8)


def real_pictures(folder: Path) -> pd.DataFrame:
    """Dice of real pictures with masks (`images/`, `masks/`), beside plain ExG + Otsu on the same pictures.

    The whole picture is one cell; its millimetres are unknown, so one pixel is called a nominal length.
    """
    rows = []
    for image_path in sorted(p for p in folder.rglob("images/*") if p.suffix in {".png", ".jpg"}):
        mask_path = image_path.parent.parent / "masks" / f"{image_path.stem}.png"
        if not mask_path.exists():
            continue
        truth = cv2.imread(str(mask_path), cv2.IMREAD_UNCHANGED)
        truth = (truth.max(axis=2) if truth.ndim == 3 else truth) > 0
        rows.append(_real_row(image_path, truth))
    return pd.DataFrame(rows)


def _real_row(path: Path, truth: NDArray[np.bool_], *, nominal_width_mm: float = 100.0) -> dict[str, object]:
    """One real picture."""
    rgb = cv2.imread(str(path))[..., ::-1]
    height, width = truth.shape
    layout = Layout(
        name="1x1", rows=1, columns=1, pitch_x_mm=nominal_width_mm, pitch_y_mm=nominal_width_mm * height / width,
        outline_width_mm=nominal_width_mm, outline_height_mm=nominal_width_mm * height / width,
    )  # fmt: skip
    record = TrayRecord(tray=path.stem, layout=layout, stage="seedling", has_markers=False, whole_picture=True)
    row = {"picture": path.name, "cover": truth.mean(), "exg_otsu": dice(_exg_otsu(rgb), truth)}
    try:
        worked = work_through(path.read_bytes(), record, settings=Settings(), name=path.name)
    except PhotoError as error:
        return row | {"dice": np.nan, "refused": f"{error.code}: {error}"}
    mask = photo_mask(worked, cover_min=MASK_SHARE) > 0
    return row | {"dice": dice(mask, truth), "area_error": float(mask.sum() / truth.sum() - 1)}


def _exg_otsu(rgb: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """The plain method: excess green on chromatic coordinates, one threshold by Otsu."""
    light = rgb.astype(np.float32)
    total = np.maximum(light.sum(axis=2), 1)
    exg = (2 * light[..., 1] - light[..., 0] - light[..., 2]) / total
    return np.asarray(exg > threshold_otsu(exg))


def _print_drawn(rows: pd.DataFrame, cells: pd.DataFrame) -> None:
    """All rows, then kinds, then everything."""
    show = {"index": False, "float_format": "{:.3f}".format}
    print(rows.to_string(**show))
    by_kind = pd.DataFrame(
        [
            {"kind": kind, "trays": part.seed.nunique(), **_errors(part), "dice": rows[rows.kind == kind].dice.median()}
            for kind, part in cells.groupby("kind")
        ]
    )
    print("\nby scene kind\n" + by_kind.to_string(**show))
    over_all = _errors(cells)
    print(f"\n{len(rows)} trays, {len(cells)} cells, refused {int(rows.dice.isna().sum())}")
    print(
        f"cell area: median absolute error {over_all['median_error']:.2%}, "
        f"90th percentile {over_all['p90_error']:.2%}, "
        f"bias {over_all['bias']:+.2%}; range holds the truth in {over_all['in_range']:.1%}"
    )
    print(
        f"empty/planted right {over_all['state_right']:.2%}; canopy Dice median {rows.dice.median():.3f}, "
        f"10th percentile {rows.dice.quantile(0.1):.3f}; right owner {rows.owner.mean():.2%}"
    )


def main() -> None:
    """Command line of the accuracy run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kinds", nargs="*", default=list(KINDS), choices=KINDS, metavar="KIND")
    parser.add_argument("--count", type=int, default=2, help="trays of each kind")
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--width", type=int, default=3000, help="picture width in pixels (4:3)")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="folder for the pictures and where they were wrong")
    parser.add_argument("--table", type=Path, help="CSV of all cells, measured beside true")
    parser.add_argument("--real", type=Path, nargs="*", default=[], help="folders of real pictures with masks")
    given = parser.parse_args()
    if given.keep:
        given.keep.mkdir(parents=True, exist_ok=True)
    # A seed of its own for every tray, or all kinds would show the same plants in the same tray.
    jobs = [(kind, given.first_seed + 100 * KINDS.index(kind) + n) for kind in given.kinds for n in range(given.count)]
    if jobs and not given.real:
        with ProcessPoolExecutor(given.workers) as pool:
            done = list(
                pool.map(drawn_tray, *zip(*jobs, strict=True), [given.width] * len(jobs), [given.keep] * len(jobs))
            )
        cells = pd.concat([part for _, part in done if len(part)])
        _print_drawn(pd.DataFrame([row for row, _ in done]), cells)
        if given.table:
            cells.to_csv(given.table, index=False)
    for folder in given.real:
        table = real_pictures(folder)
        print(f"\n{folder}\n" + table.to_string(index=False, float_format="{:.3f}".format))
        for name in ("dice", "exg_otsu"):
            print(f"{name}: median {table[name].median():.3f}, 10th percentile {table[name].quantile(0.1):.3f}")


if __name__ == "__main__":
    main()
