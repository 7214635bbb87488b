"""The same picture twice: equal files, and copies in other size and quality, are measured once."""

from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pandas as pd
import pytest

from canopy.batch.folder import Source
from canopy.batch.job import Done, Job, SetAside
from canopy.batch.twins import NearTwins, without_equal_files
from canopy.photo.likeness import BITS, differing_bits, picture_fingerprint
from canopy.reasons import REASONS
from canopy.records import Layout, Reading, Remark, TrayRecord
from canopy.settings import PhotoSettings

LAYOUT = Layout(name="t", rows=1, columns=2, pitch_x_mm=40, pitch_y_mm=40, outline_width_mm=80, outline_height_mm=40)


def job(path, *, tray="T1", corners=None):
    record = TrayRecord(tray=tray, layout=LAYOUT, corners_px=corners)
    return Job(Source(path, path.name, path.parent, True), path.stem, record, None)


@pytest.fixture
def files(tmp_path):
    def write(name, data):
        (tmp_path / name).write_bytes(data)
        return tmp_path / name

    return write


def test_equal_files_are_measured_once(files):
    jobs = [job(files("a.jpg", b"one")), job(files("b.jpg", b"two")), job(files("c.jpg", b"one"), tray="T2")]
    kept = without_equal_files(jobs)
    assert kept[:2] == jobs[:2]
    assert kept[2] == SetAside(
        "c.jpg", "T2", "duplicate", "c.jpg: is the same file as a.jpg, listed as tray T1; measured once"
    )
    assert REASONS[kept[2].code].blocks


def test_two_trays_of_one_picture_are_both_measured(files):
    one, other = (((x, 0.0), (9.0, 0.0), (9.0, 9.0), (x, 9.0)) for x in (0.0, 1.0))
    jobs = [job(files("a.jpg", b"one"), corners=one), job(files("b.jpg", b"one"), tray="T2", corners=other)]
    assert without_equal_files(jobs) == jobs


def test_what_is_set_aside_or_absent_is_passed_over(files):
    aside = SetAside("x.jpg", "", "not_listed", "x.jpg: not listed")
    gone = job(Path("/nowhere/gone.jpg"))
    assert without_equal_files([aside, gone, gone]) == [aside, gone, gone]  # said when they are worked through


@pytest.fixture(scope="module")
def picture():
    """Blobs of all sizes, as pictures have."""
    rng = np.random.default_rng(2)
    layers = [
        cv2.resize(rng.normal(0, 30, (n, n, 3)), (800, 600), interpolation=cv2.INTER_CUBIC) for n in (5, 12, 40, 150)
    ]
    return np.clip(128 + sum(layers), 0, 255).astype(np.uint8)


def test_copies_have_fingerprints_alike_and_others_do_not(picture):
    own = picture_fingerprint(picture)
    half = cv2.resize(picture, (400, 300), interpolation=cv2.INTER_AREA)
    poor = cv2.imdecode(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 40])[1], cv2.IMREAD_COLOR)
    assert differing_bits(own, own) == 0
    assert differing_bits(own, picture_fingerprint(half)) <= PhotoSettings().untimed_twin_bits
    assert differing_bits(own, picture_fingerprint(poor)) <= PhotoSettings().untimed_twin_bits
    # Unlike pictures differ in half of the bits, give or take 8 (binomial); turned ones are unlike.
    assert differing_bits(own, picture_fingerprint(picture[::-1])) > BITS / 4


def done(photo, fingerprint, *, tray="T1", taken_at="2026-04-21T05:30:00", file_date=False):
    remarks = (Remark("file_date", "the file's date is used"),) if file_date else ()
    trays = pd.DataFrame({"taken_at": pd.array([taken_at], dtype="string")})
    reading = Reading(photo, tray, pd.DataFrame(), trays, pd.DataFrame(), remarks)
    return Done(reading, photo, "", (), b"", fingerprint)


@pytest.mark.parametrize(
    ("second", "copy"),
    [
        ({"fingerprint": 0b111}, True),
        ({"fingerprint": (1 << 13) - 1}, False),  # 13 bits: one above the bound
        ({"fingerprint": 0b111, "taken_at": "2026-04-21T05:40:00"}, False),  # the same tray ten minutes later
        ({"fingerprint": 0b111, "tray": "T2"}, False),
        ({"fingerprint": 0b111, "file_date": True}, True),
        ({"fingerprint": 0b11111, "file_date": True}, False),  # 5 bits: one above the bound without a time
        ({"fingerprint": None}, False),
    ],
)
def test_near_copies(second, copy):
    twins = NearTwins(PhotoSettings())
    first = done("a.jpg", 0)
    assert twins.checked(first) is first
    again = done("b.jpg", **second)
    got = twins.checked(again)
    if copy:
        message = "b.jpg: is a copy of a.jpg in other size or quality; measured once"
        assert got == SetAside("b.jpg", "T1", "duplicate", message)
    else:
        assert got is again


def test_a_copy_leaves_nothing_drawn(tmp_path):
    from canopy.batch.score import _Told

    (tmp_path / "overlays").mkdir()
    for stem in ("a.jpg", "b.jpg"):
        (tmp_path / "overlays" / f"{stem}.jpg").write_bytes(b"drawn")
    put = []
    told = _Told(SimpleNamespace(put=put.append, out=tmp_path), lambda done, total: None, 2, NearTwins(PhotoSettings()))
    told.put(done("a.jpg", 0))
    told.put(done("b.jpg", 1))
    assert [type(outcome) for outcome in put] == [Done, SetAside]
    assert [path.name for path in (tmp_path / "overlays").iterdir()] == ["a.jpg.jpg"]
