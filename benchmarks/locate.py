"""How often trays without markers are found: drawn trays whose corners are known.

    python -m benchmarks.locate                              # 3 trays of every scene kind and of every hard view
    python -m benchmarks.locate --kinds plain tilted --count 10
    python -m benchmarks.locate --any-layout                 # no layout is named; all known ones are tried
    python -m benchmarks.locate --photo PICTURE.png --grid 4x5 --pitch 75 --outline 390x315 --out marked.png

Per kind: share found right (every corner within a quarter of the pitch), accepted though wrong, refused; milliseconds
of processor time a photo. Views beyond the renderer's own kinds: `turned` (any angle), `steep` (tilt 15 to 24 degrees),
`close_neighbours` (trays a few millimetres apart on several sides), and four that must be refused: `cut_off` (a side
out of the picture), `no_tray` (plants on bare ground), `other_layout` (the tray list names another grid of that size:
a row and two columns more), `one_off` (one row or column more or fewer).
`two_trays`: two in one picture, the first in reading order is asked for.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from canopy.errors import TrayNotFound
from canopy.photo.image import Photo
from canopy.records import Layout, TrayRecord
from canopy.settings import TraySettings
from canopy.synthetic.camera import Camera, look_at
from canopy.synthetic.drafts import LAYOUTS as DRAWN
from canopy.synthetic.kinds import KINDS
from canopy.synthetic.render import render
from canopy.synthetic.scene import Neighbour, Scene
from canopy.synthetic.scenes import make_scene
from canopy.tray.choose import choose_layout, with_layout
from canopy.tray.layouts import named_layouts
from canopy.tray.locate import locate_tray
from canopy.tray.unaided import locate_unaided

FIRST_SEED = 960_000
"""Seeds from here on are used for nothing else."""
RIGHT_WITHIN_PITCH = 0.25
WIDTH_PX, HEIGHT_PX = 1600, 1200
MUST_REFUSE = ("cut_off", "no_tray", "other_layout", "one_off")
WRONG_LAYOUT = ("other_layout", "one_off")
VIEWS = ("turned", "steep", "close_neighbours", *MUST_REFUSE, "two_trays")
SETTINGS = TraySettings()
T = TypeVar("T")


def drawn_scene(kind: str, seed: int) -> Scene:
    """A scene without markers of a kind of the renderer's, or of a view from here."""
    base = kind if kind in KINDS else "plain"
    scene = make_scene(base, seed=seed, width_px=WIDTH_PX, height_px=HEIGHT_PX)
    scene = replace(scene, surroundings=replace(scene.surroundings, markers=False))
    return _viewed(scene, kind, np.random.default_rng([seed, 5])) if kind in VIEWS else scene


def _viewed(scene: Scene, view: str, rng: np.random.Generator) -> Scene:
    layout, camera = scene.layout, scene.camera
    if view == "turned":
        turned = replace(camera, turn_deg=float(rng.uniform(-180, 180)), focal_px=0.8 * camera.focal_px)
        return replace(scene, camera=turned)
    if view == "steep":
        return replace(scene, camera=_look(scene, tilt_deg=float(rng.uniform(15, 24)), fill=0.7, rng=rng))
    if view == "cut_off":
        return replace(scene, camera=_look(scene, tilt_deg=float(rng.uniform(0, 6)), fill=0.85, off=0.35, rng=rng))
    if view == "no_tray":
        return replace(scene, surroundings=replace(scene.surroundings, tray_style=""), plants=scene.plants[::7])
    if view == "two_trays":
        along = int(rng.random() < 0.5)
        step = np.zeros(2)
        step[along] = (layout.outline_width_mm, layout.outline_height_mm)[along] + rng.uniform(5, 60)
        beside: tuple[Neighbour, ...] = (Neighbour(float(step[0]), float(step[1]), scene.plants),)
        return replace(scene, neighbours=beside, camera=_over_both(scene, step, rng))
    if view == "close_neighbours":
        gap = rng.uniform(2, 12, 2)
        step = np.array([layout.outline_width_mm, layout.outline_height_mm]) + gap
        sides = [(x, y) for x in (-1, 0, 1) for y in (-1, 0, 1) if (x or y) and rng.random() < 0.5]
        beside = tuple(Neighbour(float(x * step[0]), float(y * step[1]), scene.plants) for x, y in sides)
        camera = _look(scene, tilt_deg=float(rng.uniform(0, 6)), fill=0.6, rng=rng)
        return replace(scene, neighbours=beside, camera=camera)
    return scene


def _look(scene: Scene, *, tilt_deg: float, fill: float, rng: np.random.Generator, off: float = 0.0) -> Camera:
    """A camera over the tray, or off it by a share of its width."""
    layout = scene.layout
    size = np.array([layout.outline_width_mm, layout.outline_height_mm])
    centre = size / 2 + rng.normal(0, 8, 2) + off * size * (1, 0) * rng.choice([-1, 1])
    return look_at(
        (float(centre[0]), float(centre[1])), (float(size[0]), float(size[1])), width_px=WIDTH_PX, height_px=HEIGHT_PX,
        fill=fill, distance_mm=scene.camera.z_mm, tilt_deg=tilt_deg, tilt_towards_deg=float(rng.uniform(0, 360)),
        turn_deg=float(rng.normal(0, 4)), k1=scene.camera.k1,
    )  # fmt: skip


def _over_both(scene: Scene, step: NDArray[np.float64], rng: np.random.Generator) -> Camera:
    """A camera over a tray and its neighbour."""
    size = np.array([scene.layout.outline_width_mm, scene.layout.outline_height_mm])
    centre, span = size / 2 + step / 2, size + step
    return look_at(
        (float(centre[0]), float(centre[1])), (float(span[0]), float(span[1])), width_px=WIDTH_PX, height_px=HEIGHT_PX,
        fill=0.85, distance_mm=1.5 * scene.camera.z_mm, tilt_deg=float(rng.uniform(0, 6)),
        tilt_towards_deg=float(rng.uniform(0, 360)), turn_deg=float(rng.normal(0, 2)), k1=scene.camera.k1,
    )  # fmt: skip


def other_layout(layout: Layout) -> Layout:
    """The same outline with one or two rows and columns more."""
    rows, columns = layout.rows + 1, layout.columns + 2
    pitch = {"pitch_x_mm": layout.outline_width_mm / columns, "pitch_y_mm": layout.outline_height_mm / rows}
    return layout.model_copy(update={"rows": rows, "columns": columns, **pitch})


def one_off(layout: Layout, rng: np.random.Generator) -> Layout:
    """The same outline with one row or column more or fewer."""
    change = {"rows": layout.rows, "columns": layout.columns}
    change[str(rng.choice(list(change)))] += int(rng.choice([-1, 1]))
    pitch_x = layout.pitch_x_mm * layout.columns / change["columns"]
    pitch_y = layout.pitch_y_mm * layout.rows / change["rows"]
    return layout.model_copy(update={**change, "pitch_x_mm": pitch_x, "pitch_y_mm": pitch_y})


def as_photo(rgb: NDArray[np.uint8], name: str) -> Photo:
    """A decoded picture as a photo that says nothing of its camera."""
    return Photo(name, rgb, 1, rgb.shape[1], rgb.shape[0], None, "", None)


def true_corners_px(scene: Scene) -> NDArray[np.float64]:
    """Where the outline's corners are in the picture, from the one nearest to the upper left of an upright tray."""
    corners = scene.camera.project(np.column_stack([scene.layout.outline_mm, np.zeros(4)]))
    row = corners[1] + corners[2] - corners[0] - corners[3]
    return corners if row[0] >= 0 else np.roll(corners, 2, axis=0)


def known_layouts() -> tuple[Layout, ...]:
    """What a farm would have to choose from: all named layouts, and those that only the renderer draws."""
    return (*named_layouts().values(), *(DRAWN[name] for name in ("4x6", "6x10-raft", "4x5")))


def same_layout(one: Layout, other: Layout) -> bool:
    """The same grid in an outline of the same size, to 2 %."""
    grids = (one.rows, one.columns) == (other.rows, other.columns)
    return grids and bool(np.allclose(one.outline_mm[2], other.outline_mm[2], rtol=0.02))


def trial(kind: str, seed: int, any_layout: bool = False) -> dict[str, object]:
    """Draw, locate, compare."""
    scene = drawn_scene(kind, seed)
    rgb = render(scene).rgb
    layout = scene.layout
    if kind in WRONG_LAYOUT and not any_layout:
        named = np.random.default_rng([seed, 8])
        layout = other_layout(layout) if kind == "other_layout" else one_off(layout, named)
    record = TrayRecord(tray="t", layout=layout, has_markers=False)
    if kind == "two_trays":
        record = record.model_copy(update={"trays_in_picture": 2, "place": 1})
    if any_layout:
        record = TrayRecord(tray="t", layout=known_layouts()[0], layout_choices=known_layouts(), has_markers=False)
    began = time.process_time()
    try:
        if any_layout:
            record = with_layout(record, choose_layout(as_photo(rgb, scene.name), record, settings=SETTINGS).layout)
        frame, refused = locate_tray(as_photo(rgb, scene.name), record, settings=SETTINGS), ""
    except TrayNotFound as error:
        frame, refused = None, f"{error.code}: {error}"
    row: dict[str, object] = {
        "kind": kind, "seed": seed, "style": scene.surroundings.tray_style, "ms": 1000 * (time.process_time() - began),
        "refused": refused, "miss_pitch": np.nan, "right": False, "wrong": False,
    }  # fmt: skip
    if frame is not None:
        pitch_px = min(layout.pitch_x_mm, layout.pitch_y_mm) / frame.mm_per_px
        miss = np.hypot(*(frame.to_px(record.layout.outline_mm) - true_corners_px(scene)).T).max() / pitch_px
        right = bool(miss <= RIGHT_WITHIN_PITCH) and same_layout(record.layout, layout)
        right = right and (kind not in MUST_REFUSE or (any_layout and kind in WRONG_LAYOUT))
        row |= {"said": record.layout.name, "is": layout.name, "miss_pitch": miss, "right": right, "wrong": not right}
    return row


def each(work: Callable[..., T], asked: Sequence[tuple[object, ...]], *, workers: int) -> Iterator[T]:
    """The work done for each set of arguments, in order, in several processes when asked for."""
    if workers < 2:
        yield from (work(*arguments) for arguments in asked)
        return
    with ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), initializer=cv2.setNumThreads, initargs=(1,)
    ) as pool:
        yield from pool.map(work, *zip(*asked, strict=True))


def summary(rows: pd.DataFrame) -> pd.DataFrame:
    """Shares by kind, and over the kinds that can be found."""
    rows = rows.assign(said_no=rows.refused != "")
    columns = {"right": "mean", "wrong": "mean", "said_no": "mean", "ms": "median", "miss_pitch": "median"}
    table = rows.groupby("kind", sort=False).agg(columns)
    table.loc["ALL (to be found)"] = rows[~rows.kind.isin(MUST_REFUSE)].agg(columns)
    return table


def mark_photo(path: Path, layout: Layout, out: Path) -> str:
    """Locate the tray of a real picture and draw its outline and cells."""
    rgb = np.asarray(cv2.imread(str(path)))[..., ::-1].copy()
    frame = locate_unaided(as_photo(rgb, path.name), TrayRecord(tray="t", layout=layout), settings=SETTINGS)
    marked = rgb[..., ::-1].copy()
    cv2.polylines(marked, [np.rint(frame.to_px(layout.outline_mm)).astype(int)], True, (0, 0, 255), 2)
    for x, y in frame.to_px(layout.centres_mm()):
        cv2.circle(marked, (round(x), round(y)), 4, (255, 0, 255), -1)
    cv2.imwrite(str(out), marked)
    corners = frame.to_px(layout.outline_mm).round(1).tolist()
    return f"{path.name}: corners {corners}, residual {frame.residual_px:.2f} px"


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kinds", nargs="*", default=[kind for kind in KINDS if kind != "mat"] + list(VIEWS))
    parser.add_argument("--count", type=int, default=3)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--any-layout", action="store_true", help="name no layout: choose among all known ones")
    parser.add_argument("--workers", type=int, default=1, help="processes")
    parser.add_argument("--table", type=Path, help="write every row here")
    parser.add_argument("--photo", type=Path)
    parser.add_argument("--grid", default="4x5")
    parser.add_argument("--pitch", type=float, default=75.0)
    parser.add_argument("--outline", default="390x315")
    parser.add_argument("--out", type=Path, default=Path("marked.png"))
    given = parser.parse_args()
    cv2.setNumThreads(1)
    if given.photo:
        (rows, columns), (width, height) = (map(float, pair.split("x")) for pair in (given.grid, given.outline))
        layout = Layout(
            name=given.grid, rows=int(rows), columns=int(columns), pitch_x_mm=given.pitch, pitch_y_mm=given.pitch,
            outline_width_mm=width, outline_height_mm=height,
        )  # fmt: skip
        print(mark_photo(given.photo, layout, given.out))
        return
    asked = [
        (kind, given.first_seed + 100 * n + number, given.any_layout)
        for number, kind in enumerate(given.kinds)
        for n in range(given.count)
    ]
    table = []
    for row in each(trial, asked, workers=given.workers):
        table.append(row)
        if not row["right"]:
            print({k: v for k, v in row.items() if k not in ("right", "ms")}, flush=True)
    rows_ = pd.DataFrame(table)
    if given.any_layout:
        rows_ = rows_[rows_.kind != "two_trays"]
    if given.table:
        rows_.to_csv(given.table, index=False)
    print(summary(rows_).round(3).to_string())


if __name__ == "__main__":
    main()
