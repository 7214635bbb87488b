"""How well a saved view is followed: one drawn tray over days under a fixed camera that is knocked a little, or far.

    python -m benchmarks.views                                # 6 trays, 4 photos of each knock
    python -m benchmarks.views --trays 3 --kinds plain finish

A knock turns the camera about its lens and zooms a little, which moves the whole picture by an exact homography: each
day is drawn once by a wider camera and the photo is cut out of it. The view is saved from the first day's photo with
exact corners. Per kind of knock: share accepted, corner error in millimetres (median and worst corner of a photo),
share accepted though a corner is off by more than a quarter of the pitch; milliseconds of processor time a photo.

`still`, `small` (corners move up to 1.5 % of the width) and `knocked` (up to 4 %) are to be followed; `turned_away`
(farther), `tray_slid` (the tray was pushed by 0.3 to 1.2 pitches, the camera stayed), `elsewhere` (another tray's
photo) and `tray_gone` are to be refused, or to be right.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchmarks.locate import as_photo, each
from canopy.errors import PhotoError
from canopy.records import SavedView, TrayRecord
from canopy.settings import TraySettings
from canopy.synthetic.camera import Camera
from canopy.synthetic.drafts import Draft, plain_draft
from canopy.synthetic.kinds import draft_of
from canopy.synthetic.render import render
from canopy.synthetic.scene import Scene
from canopy.synthetic.scenes import compose, das_for_diameter, grow_tray, pitch_mm
from canopy.tray.locate import locate_tray
from canopy.tray.register import view_picture

FIRST_SEED = 975_000
"""Seeds from here on are used for nothing else."""
WIDTH_PX, HEIGHT_PX, MARGIN_PX = 1600, 1200, 200
KINDS = ("plain", "clutter", "finish", "mat", "overlap", "hard_look")
FOLLOWED = ("still", "small", "knocked")
REFUSED = ("turned_away", "tray_slid", "elsewhere", "tray_gone")
WRONG_FROM_PITCH = 0.25
SETTINGS = TraySettings()
FloatArray = NDArray[np.float64]
Rng = np.random.Generator


def day_scenes(kind: str, seed: int, days: int) -> list[Scene]:
    """One tray on days of its growth; camera, ground and tray stay, light and the camera's exposure change."""
    draft = draft_of(kind, np.random.default_rng([seed, 0]))
    draft = replace(draft, surroundings=replace(draft.surroundings, markers=False), tilt_deg=min(draft.tilt_deg, 8.0))
    last = das_for_diameter(draft.cultivar, draft.spread * pitch_mm(draft.layout), seed=seed)
    scenes = []
    for number, das in enumerate(np.linspace(max(3.0, 0.45 * last), last, days)):
        today = _another_day(draft, np.random.default_rng([seed, 5, number])) if number else draft
        plants = grow_tray(draft, das=float(das), seed=seed)
        scene = compose(today, plants, kind=kind, seed=seed, width_px=WIDTH_PX, height_px=HEIGHT_PX)
        scenes.append(replace(scene, name=f"{kind}_{seed}_{number}", camera=_wider(scene.camera)))
    return scenes


def _another_day(draft: Draft, rng: Rng) -> Draft:
    other = plain_draft(rng)
    light = other.light if draft.light.rgb[1] > 0.5 else draft.light
    look = replace(other.look, defocus_px=max(other.look.defocus_px, draft.look.defocus_px))
    return replace(draft, light=light, look=look)


def _wider(camera: Camera) -> Camera:
    return replace(camera, width_px=WIDTH_PX + 2 * MARGIN_PX, height_px=HEIGHT_PX + 2 * MARGIN_PX, k1=0.0)


def knock(kind: str, camera: Camera, rng: Rng) -> FloatArray:
    """Homography from the wide picture's pixels to the photo's: turn of the camera about its lens, zoom, cut."""
    cut = np.array([[1, 0, -MARGIN_PX], [0, 1, -MARGIN_PX], [0, 0, 1.0]])
    if kind in ("still", "tray_slid", "elsewhere", "tray_gone"):
        return cut
    low, high = {"small": (0.003, 0.015), "knocked": (0.015, 0.04), "turned_away": (0.08, 0.11)}[kind]
    cx, cy = camera.centre_px
    lens = np.array([[camera.focal_px, 0, cx], [0, camera.focal_px, cy], [0, 0, 1.0]])
    width = WIDTH_PX * float(rng.uniform(low, high)) * 0.7
    towards = rng.uniform(0, 2 * np.pi)
    yaw, pitch = width / camera.focal_px * np.array([np.cos(towards), np.sin(towards)])
    roll = float(rng.normal(0, 0.5)) * width / WIDTH_PX * 2
    rotation, _ = cv2.Rodrigues(np.array([pitch, yaw, roll]))
    zoom = np.diag([1 + rng.normal(0, 0.002)] * 2 + [1.0])
    return np.asarray(cut @ lens @ zoom @ rotation @ np.linalg.inv(lens))


def photograph(rgb: NDArray[np.uint8], matrix: FloatArray, rng: Rng) -> NDArray[np.uint8]:
    """The photo that the knocked camera takes, with noise of its own and the losses of a JPEG file."""
    photo = cv2.warpPerspective(rgb, matrix, (WIDTH_PX, HEIGHT_PX), flags=cv2.INTER_CUBIC)
    noisy = np.clip(photo + rng.normal(0, 2.0, photo.shape), 0, 255).astype(np.uint8)
    data = cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 90])[1]
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))


def true_corners(scene: Scene, matrix: FloatArray) -> FloatArray:
    """The outline's corners in the photo."""
    wide = scene.camera.project(np.column_stack([scene.layout.outline_mm, np.zeros(4)]))
    return np.asarray(cv2.perspectiveTransform(wide[None], matrix)[0])


def saved_view(scene: Scene, rgb: NDArray[np.uint8], corners: FloatArray) -> SavedView:
    """The view of a photo whose corners are known."""
    return SavedView(
        name="v", width_px=WIDTH_PX, height_px=HEIGHT_PX, layout=scene.layout, saved_from=scene.name,
        corners_px=tuple((float(x), float(y)) for x, y in corners),
        picture=view_picture(rgb, settings=SETTINGS.view),
    )  # fmt: skip


def _slid(scene: Scene, rng: Rng) -> Scene:
    """The tray pushed aside while camera and ground stay."""
    pitch = np.array([scene.layout.pitch_x_mm, scene.layout.pitch_y_mm]) * rng.uniform(0.3, 1.2)
    towards = rng.uniform(0, 2 * np.pi)
    dx, dy = pitch * (np.cos(towards), np.sin(towards))
    return replace(scene, camera=replace(scene.camera, x_mm=scene.camera.x_mm - dx, y_mm=scene.camera.y_mm - dy))


def tray_trials(kind: str, seed: int, photos: int) -> list[dict[str, object]]:
    """Save the view on the first day, then follow it through every knock."""
    scenes = day_scenes(kind, seed, photos + 1)
    pictures = [render(scene).rgb for scene in scenes]
    rng = np.random.default_rng([seed, 6])
    first = knock("still", scenes[0].camera, rng)
    view = saved_view(scenes[0], photograph(pictures[0], first, rng), true_corners(scenes[0], first))
    record = TrayRecord(tray="t", layout=scenes[0].layout, view=view)
    rows = []
    for what in (*FOLLOWED, *REFUSED):
        for number, (scene, wide) in enumerate(list(zip(scenes, pictures, strict=True))[1:]):
            if what not in FOLLOWED and number % 2:
                continue
            if what == "tray_slid":
                scene = _slid(scene, rng)
                wide = render(scene).rgb
            if what == "elsewhere":
                scene = day_scenes(kind, seed + 50, 1)[0]
                wide = render(scene).rgb
            if what == "tray_gone":
                scene = replace(scene, plants=(), surroundings=replace(scene.surroundings, tray_style=""))
                wide = render(scene).rgb
            matrix = knock(what, scene.camera, rng)
            rgb = photograph(wide, matrix, rng)
            rows.append(trial(what, scene, record, rgb, true_corners(scene, matrix)))
    return rows


def trial(what: str, scene: Scene, record: TrayRecord, rgb: NDArray[np.uint8], truth: FloatArray) -> dict[str, object]:
    """Follow the view into one photo and compare."""
    began = time.process_time()
    try:
        frame, refused = locate_tray(as_photo(rgb, scene.name), record, settings=SETTINGS), ""
    except PhotoError as error:
        frame, refused = None, f"{error.code}: {error}"
    row: dict[str, object] = {
        "knock": what, "photo": scene.name, "ms": 1000 * (time.process_time() - began), "refused": refused,
        "accepted": frame is not None, "error_mm": np.nan, "wrong": False, "said": frame.located_by if frame else "",
    }  # fmt: skip
    if frame is not None:
        pitch = min(scene.layout.pitch_x_mm, scene.layout.pitch_y_mm)
        px = np.hypot(*(frame.to_px(record.layout.outline_mm) - truth).T).max()
        error_mm = px * frame.mm_per_px
        row |= {
            "error_mm": error_mm,
            "wrong": bool(what in ("elsewhere", "tray_gone") or error_mm > WRONG_FROM_PITCH * pitch),
        }
    return row


def summary(rows: pd.DataFrame) -> pd.DataFrame:
    """By kind of knock."""
    return rows.groupby("knock", sort=False).agg(
        photos=("accepted", "size"), accepted=("accepted", "mean"), wrong=("wrong", "mean"),
        error_mm=("error_mm", "median"), worst_mm=("error_mm", "max"), ms=("ms", "median"),
    )  # fmt: skip


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kinds", nargs="*", default=list(KINDS))
    parser.add_argument("--trays", type=int, default=1, help="trays of each kind")
    parser.add_argument("--photos", type=int, default=4, help="photos of each tray and knock")
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--workers", type=int, default=1, help="processes")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    asked = [
        (kind, given.first_seed + 100 * n + number, given.photos)
        for number, kind in enumerate(given.kinds)
        for n in range(given.trays)
    ]
    rows = [row for tray in each(tray_trials, asked, workers=given.workers) for row in tray]
    table = pd.DataFrame(rows)
    failed = table[(table.knock.isin(FOLLOWED) & ~table.accepted) | table.wrong]
    if len(failed):
        print(failed[["knock", "photo", "refused", "said", "error_mm"]].to_string(index=False))
    print(summary(table).round(3).to_string())


if __name__ == "__main__":
    main()
