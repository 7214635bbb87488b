"""Draw the pictures of the invented farm in `sample_images/farm` from their seeds, with their truth and tray list.

    python -m benchmarks.draw_samples                       # all, into sample_images/
    python -m benchmarks.draw_samples --only R1-04 W1-01    # some of them (tables stay as they are)
    python -m benchmarks.draw_samples --out /tmp/s --width 1200

The same seeds draw the same bytes.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

import cv2
import numpy as np
import pandas as pd

from canopy.records import Markers
from canopy.synthetic.develop import everyday_look
from canopy.synthetic.drafts import Draft, plain_draft
from canopy.synthetic.files import jpeg_bytes, with_pixels
from canopy.synthetic.light import purple_light
from canopy.synthetic.render import render
from canopy.synthetic.scene import Scene
from canopy.synthetic.scenes import compose, grow_tray
from canopy.synthetic.simulate import set_up_afresh
from canopy.synthetic.truth import measure_truth
from canopy.tray import named_layouts

HERE = Path(__file__).resolve().parent.parent / "sample_images"
FIRST_DAY = date(2026, 5, 4)
ZONE = timezone(timedelta(hours=2))
QUALITY = 85
TABLE_STARTS, TABLE_ENDS = "<!-- drawn -->", "<!-- /drawn -->"
TRAYS_HEAD = """\
# Tray list of the sample pictures: an invented farm (farm/, drawn) and real photographs (real/), see README.md.
# The real ones name no crop, so they are measured and scored on nothing; their millimetres are nominal.
"""


@dataclass(frozen=True)
class Sample:
    """One tray of the farm.

    Attributes
    ----------
    tray, layout, crop, stage : str
        As in the tray list.
    das : int
        Age on the first day.
    clock : str
        Time of the first photo.
    seed : int
        Of plants, ground, light and camera.
    what : str
        One line for the README.
    days : tuple of int
        Photos, a day apart: what is added to the seed of ground, medium and camera each day.
    around : mapping
        Fields of `Surroundings`.
    changes : mapping
        Fields of `Draft`.
    listed : mapping
        More columns of the tray list.
    """

    tray: str
    layout: str
    crop: str
    stage: str
    das: int
    clock: str
    seed: int
    what: str
    days: tuple[int, ...] = (0,)
    around: Mapping[str, object] = field(default_factory=dict)
    changes: Mapping[str, object] = field(default_factory=dict)
    listed: Mapping[str, str] = field(default_factory=dict)

    @property
    def sown_on(self) -> date:
        """Sowing day."""
        return FIRST_DAY - timedelta(days=self.das)


SAMPLES = (
    Sample(
        "R1-01", "72", "butterhead", "seedling", 13, "05:34", 4121, "three days of one tray, a few cells empty",
        days=(0, 1, 2),
        around={"ground": "stainless", "tray_style": "black_tray", "media": ("peat",)},
        changes={"empty": 0.06, "unevenness": 0.2},
    ),
    Sample(
        "R1-02", "128", "basil", "seedling", 11, "05:36", 4122, "young seedlings, not ready yet",
        around={"ground": "stainless", "tray_style": "black_tray", "media": ("coir",)},
        listed={"canopy_height_mm": "14"},
    ),
    Sample(
        "R1-03", "50", "kale", "seedling", 19, "05:37", 4133, "white tray, dark corner, dead plants and gaps",
        around={"ground": "painted_metal", "tray_style": "white_tray", "media": ("perlite_mix",)},
        changes={"patches": 0.9, "empty": 0.08, "dead": 0.1},
    ),
    Sample(
        "R1-04", "72", "red_leaf", "seedling", 15, "05:39", 4164, "red leaves under a drip line",
        around={"ground": "galvanised", "tray_style": "grey_tray", "media": ("peat",), "over": ("drip_hose",)},
        listed={"canopy_height_mm": "17"},
    ),
    Sample(
        "R1-05", "72", "pak_choi", "seedling", 14, "05:40", 4135, "yellowing leaves, algae on wet medium",
        around={"ground": "stainless", "tray_style": "black_tray", "media": ("coir",), "algae": 0.5, "wet": 0.5},
        changes={"chlorosis": 0.8},
    ),
    Sample(
        "R1-06", "50", "basil", "seedling", 18, "05:42", 4126, "red and blue grow light",
        around={"ground": "white_film", "tray_style": "black_tray", "media": ("peat",)},
        changes={"light": purple_light(np.random.default_rng(4126))},
        listed={"canopy_height_mm": "29"},
    ),
    Sample(
        "R1-07", "72", "oak_leaf", "seedling", 14, "05:43", 4107, "too blurred to be measured",
        around={"ground": "concrete", "tray_style": "grey_tray", "media": ("peat",)},
        changes={"look": replace(everyday_look(np.random.default_rng(4107), hard=False), defocus_px=5.5)},
    ),
    Sample(
        "R1-08", "72", "butterhead", "seedling", 14, "05:44", 4128, "the bench without the tray",
        around={"ground": "stainless", "tray_style": "", "markers": False, "clutter": ("hoses", "tags", "puddles"),
                "clutter_amount": 0.3},
    ),
    Sample(
        "R2-01", "50", "cos", "seedling", 15, "05:47", 4139, "neighbouring trays in view, camera held at a tilt",
        around={"ground": "plywood", "tray_style": "black_tray", "media": ("peat",), "tape": True},
        changes={"neighbours": 2, "fill": 0.62, "tilt_deg": 9.0, "turn_deg": 6.0},
    ),
    Sample(
        "W1-01", "raft18", "butterhead", "finish", 36, "06:02", 4150, "heads to harvest",
        around={"ground": "epoxy_floor", "tray_style": "raft", "media": ("rockwool",)},
        changes={"distance_mm": 1500.0, "unevenness": 0.05, "empty": 0.06},
        listed={"canopy_height_mm": "42"},
    ),
    Sample(
        "W1-02", "raft24", "pak_choi", "finish", 31, "06:04", 4121, "brown leaf margins; sprayed the week before",
        around={"ground": "epoxy_floor", "tray_style": "raft", "media": ("rockwool",)},
        changes={"distance_mm": 1500.0, "unevenness": 0.1, "tip_burn": 0.8},
        listed={
            "canopy_height_mm": "63", "treated_on": "2026-05-01", "product": "plant soap", "interval_days": "7"
        },
    ),
    Sample(
        "M1-01", "mat540", "cress", "mat", 8, "06:10", 4112, "shoots on a mat",
        around={"ground": "stainless", "tray_style": "white_mat", "media": ("hemp",)},
        listed={"marker_offset_mm": "40"},
    ),
)  # fmt: skip

REAL = (
    {"photo": "real/tray_composite/images/uneven_4x5.jpg", "tray": "real-composite", "layout": "4x5",
     "outline_mm": "225x172.8", "corners": "picture"},
    {"photo": "real/rosette_pot_series/images/*.png", "tray": "real-pot-38", "layout": "1x1",
     "outline_mm": "45x43.2", "corners": "picture"},
    {"photo": "real/tray_5x4_photo/images/tray_5x4_rectified_gridlines.png", "tray": "real-20-pots", "layout": "4x5",
     "pitch_mm": "61x60.5", "outline_mm": "310x253", "corners": "picture"},
    {"photo": "real/tray_5x4_photo/images/tray_and_neighbours.png", "tray": "real-20-pots", "layout": "4x5",
     "pitch_mm": "61x60.5", "outline_mm": "310x253", "corners": "219 103 832 103 832 604 219 604"},
)  # fmt: skip


def draft_of(sample: Sample) -> Draft:
    """The scene of a tray before its plants are grown."""
    draft = plain_draft(np.random.default_rng([sample.seed, 0]))
    around = replace(draft.surroundings, **dict(sample.around))
    changes = {"fill": 0.93, **sample.changes}
    layout = named_layouts()[sample.layout]
    if "marker_offset_mm" in sample.listed:
        markers = Markers(offset_mm=float(sample.listed["marker_offset_mm"]))
        layout = layout.model_copy(update={"markers": markers})
    return replace(draft, layout=layout, cultivar=sample.crop, surroundings=around, **changes)


def scenes_of(sample: Sample, width_px: int) -> list[tuple[Scene, datetime]]:
    """The scenes of a tray, each with the time its photo was taken."""
    draft, found = draft_of(sample), []
    hours, minutes = (int(part) for part in sample.clock.split(":"))
    for day, more in enumerate(sample.days):
        again = replace(set_up_afresh(draft, np.random.default_rng([sample.seed, 5, more])), fill=draft.fill)
        today = again if day else draft
        taken_at = datetime(FIRST_DAY.year, FIRST_DAY.month, FIRST_DAY.day, hours, minutes + 3 * day, 12, tzinfo=ZONE)
        taken_at += timedelta(days=day)
        plants = grow_tray(today, das=sample.das + day, seed=sample.seed) if draft.surroundings.tray_style else ()
        name = f"{sample.tray}_{taken_at.date().isoformat()}"
        scene = compose(
            today, plants, kind="farm", seed=sample.seed + more, width_px=width_px, height_px=width_px * 3 // 4,
            name=name,
        )  # fmt: skip
        found.append((replace(scene, tray=sample.tray), taken_at))
    return found


def draw(sample: Sample, folder: Path, width_px: int) -> list[pd.DataFrame]:
    """Write the photos of a tray; returns their truth."""
    truths = []
    for scene, taken_at in scenes_of(sample, width_px):
        picture = render(scene)
        photo = folder / f"{scene.name}.jpg"
        photo.write_bytes(jpeg_bytes(picture, scene, taken_at=taken_at, quality=QUALITY))
        print(f"{photo}  {photo.stat().st_size / 1e6:.2f} MB", flush=True)
        if scene.plants:
            truth = with_pixels(measure_truth(scene), picture, scene.layout)
            truths.append(truth.assign(photo=f"farm/{photo.name}"))
            print(truth.area_mm2.describe()[["count", "25%", "50%", "75%"]].round().to_dict())
    return truths


def tray_lines() -> pd.DataFrame:
    """The tray list of all sample pictures."""
    farm = [
        {
            "photo": f"farm/{sample.tray}_*.jpg",
            "tray": sample.tray,
            "layout": sample.layout,
            "crop": sample.crop,
            "stage": sample.stage,
            "sown_on": sample.sown_on.isoformat(),
            **sample.listed,
        }
        for sample in SAMPLES
    ]
    columns = ["photo", "tray", "layout", "crop", "stage", "sown_on", "pitch_mm", "outline_mm", "marker_offset_mm",
               "canopy_height_mm", "corners", "treated_on", "product", "interval_days"]  # fmt: skip
    return pd.DataFrame([*farm, *REAL], columns=columns)


def table_of_samples() -> str:
    """The samples as a table in Markdown: tray, plants, seed, what they show."""
    rows = ["| tray | layout | crop, stage, age on the first day | photos | seed | what it shows |", "| - " * 6 + "|"]
    rows += [
        f"| {s.tray} | {s.layout} | {s.crop}, {s.stage}, {s.das} days | {len(s.days)} | {s.seed} | {s.what} |"
        for s in SAMPLES
    ]
    return "\n".join(rows)


def write_tables(folder: Path, truths: list[pd.DataFrame]) -> None:
    """Tray list, truth, and the table of samples in the README that lies there."""
    lines = tray_lines().to_csv(index=False, lineterminator="\n")
    (folder / "trays.csv").write_text(TRAYS_HEAD + lines, encoding="utf-8")
    truth = folder / "farm" / "truth.csv"
    pd.concat(truths).to_csv(truth, index=False, float_format="%.6g", lineterminator="\n")
    readme = folder / "README.md"
    if readme.exists():
        before, _, rest = readme.read_text(encoding="utf-8").partition(TABLE_STARTS)
        after = rest.partition(TABLE_ENDS)[2]
        text = f"{before}{TABLE_STARTS}\n{table_of_samples()}\n{TABLE_ENDS}{after}"
        readme.write_text(text, encoding="utf-8")


def main() -> None:
    """Command line of the drawing."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=HERE)
    parser.add_argument("--width", type=int, default=2400, help="picture width in pixels (4:3)")
    parser.add_argument("--only", nargs="*", default=[], metavar="TRAY")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    folder = given.out / "farm"
    folder.mkdir(parents=True, exist_ok=True)
    chosen = [sample for sample in SAMPLES if not given.only or sample.tray in given.only]
    truths = [truth for sample in chosen for truth in draw(sample, folder, given.width)]
    if not given.only:
        write_tables(given.out, truths)


if __name__ == "__main__":
    main()
