"""A small farm for tests of the page: sample trays measured once, one more photo with a label to be sent."""

from __future__ import annotations

import io
import os
import shutil
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import cv2
from PIL import Image

from canopy.nightly.night import one_pass
from canopy.store.people import Person, put_person
from canopy.web.passwords import hashed
from canopy.web.serve import Door, site_for

SAMPLES = Path(__file__).parent.parent.parent / "sample_images" / "farm"
SNAPPED = SAMPLES / "R2-01_2026-05-04.jpg"
PHOTOS = ("R1-01_2026-05-04.jpg", "R1-01_2026-05-05.jpg", "R1-01_2026-05-06.jpg", "R1-05_2026-05-04.jpg")
NOW = datetime(2026, 5, 6, 8, 0, tzinfo=UTC)
PINS = {"ana": ("crew", "481516"), "bo": ("qa", "234219"), "cleo": ("admin", "a long password")}
TRAYS = """photo,tray,layout,crop,stage,sown_on
R1-01_*.jpg,R1-01,72,butterhead,seedling,2026-04-21
,R1-04,50,cos,seedling,2026-04-16
R1-05_*.jpg,R1-05,72,pak_choi,seedling,2026-04-20
,R2-07,72,<b>&"' OR 1=1 --,seedling,2026-04-20
"""
# One process measures, so that tests do not fight over cores, and answers are waited for however slow the machine is.
SETTINGS = """[web]
workers = 1
failures_max = 3
answer_wait_s = 100
"""


def measured_farm(folder: Path) -> Path:
    """A folder with photos, tray list and store; the photos are measured."""
    folder.mkdir()
    for name in PHOTOS:
        shutil.copy(SAMPLES / name, folder / name)
        os.utime(folder / name, (NOW.timestamp() - 3600,) * 2)  # at rest since an hour
    (folder / "trays.csv").write_text(TRAYS.replace("<b>&\"' OR 1=1 --", ""), encoding="utf-8")
    (folder / "canopy.toml").write_text(SETTINGS, encoding="utf-8")
    one_pass(folder, clock=lambda: round(NOW.timestamp() * 1e9))
    return folder


def labelled_photo(label: str = "R1-04") -> bytes:
    """A sample photo with the label of R1-04, as the printed one lies beside the tray."""
    picture = cv2.imread(str(SNAPPED))
    code = cv2.QRCodeEncoder.create().encode(label)
    code = cv2.resize(code, None, fx=3, fy=3, interpolation=cv2.INTER_NEAREST)
    height, width = code.shape
    x = (picture.shape[1] - width) // 2
    picture[4 : 4 + height, x : x + width] = code[:, :, None]
    data = io.BytesIO()
    with Image.open(SNAPPED) as original:
        exif = original.info["exif"]
    Image.fromarray(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB)).save(data, "JPEG", quality=92, exif=exif)
    return data.getvalue()


def add_people(store) -> None:
    with store.writing() as connection:
        for name, (role, pin) in PINS.items():
            put_person(connection, Person(name, role, hashed(pin, length_min=6), NOW.isoformat()))


@contextmanager
def opened_site(folder: Path, *, with_people: bool):
    """The site of a farm with a clock that stands still."""
    if with_people:
        from canopy.store.database import opened

        with opened(str(folder / "canopy.db"), busy_timeout_s=30, make=True) as store:
            add_people(store)
    with site_for(folder, door=Door()) as site:
        site.clock = lambda: NOW
        yield site
