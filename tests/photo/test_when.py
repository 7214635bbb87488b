"""When a photo was taken, and how that is known."""

from datetime import datetime, timedelta, timezone

import pytest
from pydantic import ValidationError

from canopy.photo.when import taken_at, time_in_name
from canopy.settings import PhotoSettings

PATTERNS = PhotoSettings().name_patterns
ORIGINAL, DIGITISED, CHANGED = 0x9003, 0x9004, 0x0132  # EXIF 2.32, tables 4 and 8
OFFSET_ORIGINAL, OFFSET_DIGITISED = 0x9011, 0x9012


def found(tags, name="a.jpg", modified_at=None):
    return taken_at(tags, name=name, modified_at=modified_at, name_patterns=PATTERNS)


def test_original_comes_before_digitised_and_change():
    tags = {ORIGINAL: "2026:04:12 05:30:12", DIGITISED: "2026:04:13 00:00:00", CHANGED: "2026:05:01 00:00:00"}
    assert found(tags) == (datetime(2026, 4, 12, 5, 30, 12), "exif")
    del tags[ORIGINAL]
    assert found(tags)[0] == datetime(2026, 4, 13)
    del tags[DIGITISED]
    assert found(tags)[0] == datetime(2026, 5, 1)


@pytest.mark.parametrize(("text", "minutes"), [("+02:00", 120), ("-03:30", -210), ("+00:00", 0), (b"+05:45\0", 345)])
def test_offset(text, minutes):
    moment, source = found({ORIGINAL: "2026:04:12 05:30:12", OFFSET_ORIGINAL: text})
    assert moment == datetime(2026, 4, 12, 5, 30, 12, tzinfo=timezone(timedelta(minutes=minutes)))
    assert source == "exif with offset"


def test_offset_belongs_to_its_own_time():
    moment, source = found({DIGITISED: "2026:04:12 05:30:12", OFFSET_ORIGINAL: "+02:00"})
    assert (moment.tzinfo, source) == (None, "exif")
    assert found({DIGITISED: "2026:04:12 05:30:12", OFFSET_DIGITISED: "+02:00"})[1] == "exif with offset"


@pytest.mark.parametrize("text", ["0000:00:00 00:00:00", "    :  :     :  :  ", "", "2026:13:40 99:99:99", None, 7])
def test_camera_without_a_clock_falls_through(text):
    assert found({ORIGINAL: text}, modified_at=datetime(2026, 1, 2)) == (datetime(2026, 1, 2), "file date")


def test_nonsense_offset_is_left_out():
    assert found({ORIGINAL: "2026:04:12 05:30:12", OFFSET_ORIGINAL: "+99:99"})[1] == "exif"


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("IMG_20260412_053012.jpg", (2026, 4, 12, 5, 30, 12)),
        ("PXL_20260412_053012345.MP.jpg", (2026, 4, 12, 5, 30, 12)),
        ("2026-04-12T0530.png", (2026, 4, 12, 5, 30)),
        ("2026-04-12_05-30-12.jpg", (2026, 4, 12, 5, 30, 12)),
        ("20260412-0530 tray 7.jpg", (2026, 4, 12, 5, 30)),
        ("Photo 2026-04-12 05.30.12.jpg", (2026, 4, 12, 5, 30, 12)),
        ("pot_00_2026-08-02T1701.png", (2026, 8, 2, 17, 1)),
        ("rack2/20260412053012.jpg", (2026, 4, 12, 5, 30, 12)),
        ("tray_2026-04-12.jpg", (2026, 4, 12)),
        ("20260412_7.jpg", (2026, 4, 12)),
    ],
)
def test_names(name, expected):
    assert time_in_name(name, patterns=PATTERNS) == datetime(*expected)


@pytest.mark.parametrize(
    "name",
    [
        "IMG_0412.jpg",
        "IMG_20261345_053012.jpg",  # month 13
        "IMG_20260231_053012.jpg",  # 31 February
        "120260412_053012.jpg",  # the year starts inside a longer number
        "2026-04-12/tray.jpg",  # only the last part of the path is read
        "18991231_000000.jpg",  # no photos then
    ],
)
def test_names_without_a_time(name):
    assert time_in_name(name, patterns=PATTERNS) is None


def test_impossible_hour_leaves_the_day():
    assert time_in_name("20260412_2575.jpg", patterns=PATTERNS) == datetime(2026, 4, 12)


def test_sources_in_order():
    late = datetime(2026, 6, 1)
    assert found({}, name="20260412_0530.jpg", modified_at=late)[1] == "file name"
    assert found({}, modified_at=late) == (late, "file date")
    assert found({}) == (None, "")


def test_own_patterns():
    settings = PhotoSettings(name_patterns=(r"(?P<day>\d\d)\.(?P<month>\d\d)\.(?P<year>\d{4})",))
    assert time_in_name("Tray 12.04.2026.jpg", patterns=settings.name_patterns) == datetime(2026, 4, 12)


@pytest.mark.parametrize(
    ("pattern", "message"), [("(", "not a regular expression"), (r"(\d+)", "groups year, month and day")]
)
def test_wrong_patterns_are_refused(pattern, message):
    with pytest.raises(ValidationError, match=message):
        PhotoSettings(name_patterns=(pattern,))
