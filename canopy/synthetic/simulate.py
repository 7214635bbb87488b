"""Draws a folder of photos with their truth and a tray list: single trays of given kinds, or one tray over days."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from canopy.synthetic.drafts import Draft
from canopy.synthetic.files import tray_line, with_pixels, write_scene
from canopy.synthetic.kinds import draft_of
from canopy.synthetic.render import render
from canopy.synthetic.scene import Scene
from canopy.synthetic.scenes import compose, das_for_diameter, grow_tray, make_scene, pitch_mm
from canopy.synthetic.truth import measure_truth

_SMALLEST_TURN_DEG = 2.0


def tray_over_days(
    kind: str, das_list: Sequence[float], *, seed: int, width_px: int, height_px: int
) -> Iterator[Scene]:
    """The same tray at several ages, camera, light and exposure set up afresh each day."""
    draft = draft_of(kind, np.random.default_rng([seed, 0]))
    for number, das in enumerate(das_list):
        today = set_up_afresh(draft, np.random.default_rng([seed, 5, number]))
        plants = grow_tray(draft, das=das, seed=seed)
        scene = compose(
            today, plants, kind=kind, seed=seed + 1_000_003 * (number + 1), width_px=width_px, height_px=height_px
        )
        yield replace(scene, name=f"{kind}_{seed:05d}_das{das:04.1f}", tray=f"{kind}_{seed:05d}")


def set_up_afresh(draft: Draft, rng: np.random.Generator) -> Draft:
    """Another photographer's stand on another day: distance, tilt, turn, light and exposure move a little."""
    other = draft_of("plain", rng)
    return replace(
        draft,
        light=other.light if draft.light.rgb[1] > 0.5 else draft.light,
        look=other.look,
        fill=other.fill,
        distance_mm=draft.distance_mm * float(np.exp(rng.normal(0, 0.08))),
        tilt_deg=draft.tilt_deg + float(abs(rng.normal(0, 2))),
        turn_deg=draft.turn_deg + float(rng.normal(0, _SMALLEST_TURN_DEG)),
    )


def das_series(kind: str, days: int, *, seed: int) -> list[float]:
    """Ages of a series that ends at the size the kind asks for, a day apart."""
    draft = draft_of(kind, np.random.default_rng([seed, 0]))
    last = das_for_diameter(draft.cultivar, draft.spread * pitch_mm(draft.layout), seed=seed)
    return [round(last - back, 1) for back in range(days - 1, -1, -1) if last - back > 0]


def simulate(
    out: Path,
    kinds: Sequence[str],
    *,
    count: int,
    seed: int,
    width_px: int,
    height_px: int,
    first_taken_at: datetime,
    days: int = 1,
    recipes: Collection[tuple[str, str]] = (),
) -> Iterator[Path]:
    """Write `count` trays of each kind (or each over `days` days) into `out`.

    Beside the photos: their instance masks in `masks/`, the tray list `trays.csv`, and `truth.csv` with what is truly
    in every cell. Tables are written last, so draw the iterator to its end.

    Parameters
    ----------
    out : pathlib.Path
        Made when absent.
    kinds : sequence of str
        Of `canopy.synthetic.kinds.KINDS`.
    count, seed : int
        Trays of each kind, and the seed of the first; the next ones count on.
    width_px, height_px : int
    first_taken_at : datetime
        When the photos were taken; those of later days, days later.
    days : int
        Photos of each tray, a day apart.
    recipes : collection of (crop, stage)
        Crops that the tray list may name.

    Yields
    ------
    Path
        Each photo written, in order.
    """
    out.mkdir(parents=True, exist_ok=True)
    lines, truths = [], []
    for scene, taken_at in _scenes(kinds, count, seed, width_px, height_px, days, first_taken_at):
        picture = render(scene)
        truth = with_pixels(measure_truth(scene), picture, scene.layout)
        photo = write_scene(out, scene, picture, taken_at=taken_at)
        lines.append(tray_line(scene, truth, file_name=photo.name, taken_at=taken_at, recipes=recipes))
        truths.append(truth)
        yield photo
    pd.DataFrame(lines).to_csv(out / "trays.csv", index=False, lineterminator="\n")
    pd.concat(truths).to_csv(out / "truth.csv", index=False, float_format="%.6g", lineterminator="\n")


def _scenes(
    kinds: Sequence[str], count: int, seed: int, width_px: int, height_px: int, days: int, first: datetime
) -> Iterator[tuple[Scene, datetime]]:
    """All scenes asked for, each with the time its photo was taken."""
    for kind in kinds:
        for number in range(count):
            own = seed + number
            if days == 1:
                yield make_scene(kind, seed=own, width_px=width_px, height_px=height_px), first
                continue
            series = tray_over_days(
                kind, das_series(kind, days, seed=own), seed=own, width_px=width_px, height_px=height_px
            )
            for day, scene in enumerate(series):
                yield scene, first + timedelta(days=day)
