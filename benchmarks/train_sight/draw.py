"""Draw training pictures for the sight of trays: small, plants painted roughly, any tray, any view.

    python -m benchmarks.train_sight.draw FOLDER --count 4000

Leaves are ellipses: what matters here is the tray's outline under and between them, and drawing true leaves would take
ten times longer. Each picture NAME.jpg comes with NAME.json: the outlines' corners of all trays, this tray's first.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.records import Layout
from canopy.synthetic.camera import Camera, look_at
from canopy.synthetic.drafts import Draft
from canopy.synthetic.kinds import KINDS, draft_of
from canopy.synthetic.render import render
from canopy.synthetic.scene import Neighbour, Scene
from canopy.synthetic.tray_styles import TRAY_STYLES

WIDTH_PX, HEIGHT_PX = 288, 216
Rng = np.random.Generator


def sight_scene(seed: int) -> Scene:
    """One random view of random trays without plants."""
    rng = np.random.default_rng([seed, 91])
    kind = "mixed" if rng.random() < 0.5 else str(rng.choice(KINDS))
    draft = draft_of(kind, rng)
    if rng.random() < 0.6:
        draft = replace(draft, layout=any_layout(rng))
        if rng.random() < 0.7:
            style = str(rng.choice([name for name in TRAY_STYLES if "mat" not in name]))
            draft = replace(draft, surroundings=replace(draft.surroundings, tray_style=style))
    style = "" if rng.random() < 0.05 else draft.surroundings.tray_style
    around = replace(draft.surroundings, markers=bool(rng.random() < 0.12), tray_style=style)
    draft = replace(draft, surroundings=around)
    return Scene(
        name=f"{seed:06d}",
        kind=kind,
        layout=draft.layout,
        plants=(),
        surroundings=around,
        light=draft.light,
        camera=any_camera(draft, rng),
        look=draft.look,
        seed=seed,
        neighbours=any_neighbours(draft.layout, rng, markers=around.markers) if rng.random() < 0.5 else (),
    )


def any_layout(rng: Rng) -> Layout:
    """Random counts, pitch and rim."""
    rows = int(rng.integers(2, 14))
    columns = int(np.clip(round(rows * np.exp(rng.normal(0.45, 0.45))), 2, 24))
    pitch = float(rng.uniform(450, 700) / max(rows, columns))
    pitch_y = pitch * float(np.exp(rng.normal(0, 0.05)))
    rim = float(rng.choice([rng.uniform(0, 6), rng.uniform(0, 20)]))
    return Layout(
        name="any",
        rows=rows,
        columns=columns,
        pitch_x_mm=pitch,
        pitch_y_mm=pitch_y,
        outline_width_mm=columns * pitch + rim,
        outline_height_mm=rows * pitch_y + rim,
    )


def any_camera(draft: Draft, rng: Rng) -> Camera:
    """Upright or turned, straight or tilted, near or far, sometimes off the tray's middle."""
    layout = draft.layout
    size = np.array([layout.outline_width_mm, layout.outline_height_mm])
    turn = float(rng.choice([rng.normal(0, 4), rng.normal(0, 15), rng.uniform(-180, 180), 90 + rng.normal(0, 4)]))
    off = rng.normal(0, float(rng.choice([0.02, 0.08])), 2) * size + size / 2
    return look_at(
        (float(off[0]), float(off[1])),
        (float(size[0]) + 10, float(size[1]) + 10),
        width_px=WIDTH_PX,
        height_px=HEIGHT_PX,
        fill=float(rng.uniform(0.4, 0.95)),
        distance_mm=float(rng.uniform(0.9, 2.4) * size.max()),
        tilt_deg=float(rng.choice([abs(rng.normal(0, 2)), rng.uniform(0, 26)])),
        tilt_towards_deg=float(rng.uniform(0, 360)),
        turn_deg=turn,
        k1=float(rng.normal(0, 0.03)),
    )


def any_neighbours(layout: Layout, rng: Rng, *, markers: bool) -> tuple[Neighbour, ...]:
    """Trays of the same sort on some of the eight sides, near by."""
    reach = 2 * layout.markers.offset_mm + layout.markers.side_mm if markers else 0.0
    step = np.array([layout.outline_width_mm, layout.outline_height_mm]) + reach + rng.uniform(2, 60, 2)
    sides = [(x, y) for x in (-1, 0, 1) for y in (-1, 0, 1) if x or y]
    share = rng.uniform(0.1, 0.9)
    shift = rng.normal(0, 0.02, 2) * step if rng.random() < 0.5 else np.zeros(2)
    return tuple(
        Neighbour(float(x * step[0] + y * shift[0]), float(y * step[1] + x * shift[1]), ())
        for x, y in sides
        if rng.random() < share
    )


def add_rough_plants(rgb: NDArray[np.uint8], scene: Scene, rng: Rng) -> NDArray[np.uint8]:
    """Paint ellipses for leaves around the cells' centres of all trays, in the picture's own light."""
    layout = scene.layout
    pitch = min(layout.pitch_x_mm, layout.pitch_y_mm)
    spread = float(rng.choice([rng.uniform(0.15, 0.6), rng.uniform(0.4, 1.1), rng.uniform(0.9, 1.7)]))
    full, leaves = float(rng.uniform(0.6, 1.0)), int(rng.integers(2, 12))
    light = np.array([np.percentile(rgb[..., c], 75) for c in range(3)]) / 150
    hue = rng.choice([rng.normal(45, 8), rng.normal(45, 8), rng.normal(45, 8), rng.uniform(0, 180)]) % 180
    hsv = np.array([[[hue, rng.uniform(60, 220), rng.uniform(80, 230)]]], np.uint8)
    base = cv2.cvtColor(hsv, cv2.COLOR_HSV2RGB)[0, 0] * light
    out = rgb.copy()
    for dx, dy in [(0.0, 0.0)] + [(n.dx_mm, n.dy_mm) for n in scene.neighbours]:
        centres = layout.centres_mm() + np.array([dx, dy])
        centres = centres[rng.random(len(centres)) < full] + rng.normal(0, 0.05 * pitch, 2)
        size = pitch * spread * np.exp(rng.normal(0, 0.2, len(centres)))
        for centre, width in zip(centres, size, strict=True):
            _paint_plant(out, centre, width, leaves, base, scene.camera, rng)
    return out


def _paint_plant(
    out: NDArray[np.uint8], centre: NDArray[np.float64], width_mm: float, leaves: int, base: NDArray[np.float64],
    camera: Camera, rng: Rng,
) -> None:  # fmt: skip
    angle = rng.uniform(0, 2 * np.pi, leaves)
    reach = width_mm * rng.uniform(0.12, 0.28, leaves)
    z = rng.uniform(0, 0.5, leaves) * width_mm
    middles = np.column_stack([centre[0] + reach * np.cos(angle), centre[1] + reach * np.sin(angle), z])
    tips = np.column_stack([centre[0] + 2 * reach * np.cos(angle), centre[1] + 2 * reach * np.sin(angle), z])
    px, tip_px = camera.project(middles), camera.project(tips)
    along = tip_px - px
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 0.4)
    slim = rng.uniform(0.4, 0.9)
    for k in range(leaves):
        if not (-50 < px[k, 0] < WIDTH_PX + 50 and -50 < px[k, 1] < HEIGHT_PX + 50):
            continue
        shade = np.clip(base * np.exp(rng.normal(0, 0.18)), 0, 255)
        turn = float(np.degrees(np.arctan2(along[k, 1], along[k, 0])))
        axes = (float(length[k]), float(length[k] * slim))
        spot = (int(px[k, 0] * 16), int(px[k, 1] * 16))
        cv2.ellipse(
            out, spot, (max(8, int(axes[0] * 16)), max(8, int(axes[1] * 16))), turn, 0, 360, shade.tolist(), -1,
            cv2.LINE_AA, 4,
        )  # fmt: skip


def outlines_px(scene: Scene) -> list[list[list[float]]]:
    """Corners of every tray's outline in the picture, this tray's first; none without a tray."""
    if not scene.surroundings.tray_style:
        return []
    places = [(0.0, 0.0)] + [(n.dx_mm, n.dy_mm) for n in scene.neighbours]
    flat = [np.column_stack([scene.layout.outline_mm + place, np.zeros(4)]) for place in places]
    return [scene.camera.project(corners).round(2).tolist() for corners in flat]


def draw_one(seed: int, folder: Path) -> None:
    """Write one picture and its outlines."""
    scene = sight_scene(seed)
    rng = np.random.default_rng([seed, 92])
    rgb = render(scene).rgb
    if scene.surroundings.tray_style or rng.random() < 0.5:
        if rng.random() < 0.9:
            rgb = add_rough_plants(rgb, scene, rng)
        if rng.random() < 0.5:
            rgb = cv2.GaussianBlur(rgb, (0, 0), float(rng.uniform(0.3, 0.9)))
    cv2.imwrite(str(folder / f"{scene.name}.jpg"), rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
    (folder / f"{scene.name}.json").write_text(json.dumps(outlines_px(scene)))


def main() -> None:
    """Command line of the drawing."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--count", type=int, default=4000)
    parser.add_argument("--first-seed", type=int, default=300_000)
    given = parser.parse_args()
    cv2.setNumThreads(1)
    given.folder.mkdir(parents=True, exist_ok=True)
    began = time.time()
    for n in range(given.count):
        try:
            draw_one(given.first_seed + n, given.folder)
        except ValueError as error:  # a layout that the renderer's style cannot hold
            print(given.first_seed + n, error)
        if n % 100 == 99:
            print(f"{n + 1} pictures, {time.time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
