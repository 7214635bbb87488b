"""Photos that are sent: taken in once, measured, shown; what is none is refused."""

from __future__ import annotations

import hashlib
import io
import re
import threading

import cv2
import numpy as np
import piexif
import pytest
from PIL import Image

from canopy.analyse import analyse
from canopy.errors import StoreError
from canopy.store import snaps
from canopy.store.newest import newest_reading_of_photo, reading_of
from canopy.web.kinds import kind_of
from canopy.web.measuring import what_is_told

from .farm import NOW, SAMPLES, SNAPPED

JSON = {"accept": "application/json"}


def _snap(client, data, *, key, name="a.jpg", kind="image/jpeg", **fields):
    return client.fill("/snap", key=key, files=[("photos", (name, data, kind))], headers=JSON, **fields)


def _count(site, sha256):
    with site.store.reading() as connection:
        table = connection.exec_driver_sql(f"SELECT count(*) FROM readings WHERE photo_sha256 = '{sha256}'")
        return table.scalar()


@pytest.fixture(scope="module")
def answered(site, sign_in, photo):
    """The photo with a label sent once, and the answer."""
    return _snap(sign_in("ana"), photo, key="first-key-1").json()[0]


def test_photo_is_measured_as_the_tray_on_its_label(answered, site, photo):
    assert (answered["state"], answered["tray"]) == ("read", "R1-04")
    with site.store.reading() as connection:
        number = newest_reading_of_photo(connection, hashlib.sha256(photo).hexdigest(), "R1-04")
        kept = reading_of(connection, number)
    assert answered["url"] == f"/readings/{number}"
    # The same values as the map step gives for what is told of the tray.
    told = what_is_told(site, site.farm.rules.trays["R1-04"], kept.photo_sha256)
    settings = site.farm.rules.configuration.settings
    direct = analyse(photo, told.record, settings=settings, name=kept.path, recipe=told.recipe,
                     modified_at=NOW.astimezone().replace(tzinfo=None))  # fmt: skip
    assert kept.cells["area_mm2"].equals(direct.cells["area_mm2"])
    assert kept.cells["decision"].equals(direct.cells["decision"])


def test_the_answer_says_what_to_do_and_what_is_not_sure_first(answered, crew):
    html = crew.get(answered["url"]).text
    assert re.search(r"\d+ of \d+ plants to move on now|None of \d+ plants is ready", html)
    assert html.count('class="cell ') == 50
    if "Not sure" in html and "Move on these" in html:
        assert html.index("Not sure") < html.index("Move on these")


def test_every_cell_leads_to_its_sum_without_a_script(answered, crew):
    html = crew.get(answered["url"] + "/cells/C3").text
    assert "Cell C3: " in html
    assert "Decision: " in html
    assert crew.get(answered["url"] + "/cells/Z99").status_code == 404


def test_the_same_sending_again_is_the_same(answered, crew, site, photo):
    sha256 = hashlib.sha256(photo).hexdigest()
    before = _count(site, sha256)
    assert _snap(crew, photo, key="first-key-1").json()[0] == answered
    other = _snap(crew, photo, key="other-key-1").json()[0]  # the same photo, chosen twice
    assert other["url"] == answered["url"]
    assert _count(site, sha256) == before == 1


def test_a_label_that_is_not_read_is_asked_for(crew, site):
    data = (SAMPLES / "R1-05_2026-05-04.jpg").read_bytes() + b"1"
    asked = _snap(crew, data, key="asked-key-1").json()[0]
    assert asked["state"] == "which_tray"
    page = crew.get(asked["url"])
    assert page.status_code == 409
    assert "Which tray is it?" in page.text
    answer = crew.fill(asked["url"], tray="R2-07")
    done = crew.get(answer.headers["location"])
    assert done.headers["location"].startswith("/readings/")


def test_a_label_of_another_farm_is_told(crew):
    from .farm import labelled_photo

    asked = _snap(crew, labelled_photo("ELSEWHERE-1"), key="label-key-1").json()[0]
    assert asked["state"] == "which_tray"
    assert "ELSEWHERE-1" in crew.get(asked["url"]).text


def test_a_photo_without_a_tray_is_set_aside_with_what_to_do(crew):
    plain = np.random.default_rng(3).integers(90, 110, (900, 1200, 3), dtype=np.uint8)
    data = cv2.imencode(".jpg", plain)[1].tobytes()
    aside = _snap(crew, data, key="plain-key-1", tray="R1-04").json()[0]
    assert aside["state"] == "set_aside"
    page = crew.get(aside["url"])
    assert "This photo cannot be used" in page.text
    assert "Show me the corners" in page.text
    assert crew.get(aside["url"] + "/corners").status_code == 200


def test_several_at_once_without_a_script(crew, site):
    photos = [("photos", (f"{name}.jpg", (SAMPLES / name).read_bytes(), "image/jpeg"))
              for name in ("R1-01_2026-05-04.jpg", "R1-05_2026-05-04.jpg")]  # fmt: skip
    answer = crew.fill("/snap", key="many-key-12", tray="R1-01", files=photos)
    assert answer.headers["location"] == "/snap"
    with site.store.reading() as connection:
        assert [snaps.snap_of(connection, key).chosen for key in ("many-key-12", "many-key-12-1")] == ["R1-01"] * 2


@pytest.mark.parametrize(
    ("data", "name", "kind", "status"),
    [
        (b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>', "a.svg", "image/svg+xml", 415),
        (b"<!doctype html><script>alert(1)</script>", "a.jpg", "image/jpeg", 415),
        (b"GIF89a" + b"\0" * 100, "a.gif", "image/gif", 415),
        (b"%PDF-1.7 " + b"\xff\xd8\xff" * 9, "a.jpg", "image/jpeg", 415),
        (b"", "a.jpg", "image/jpeg", 415),
        (b"#!/bin/sh\nrm -rf /", "../../etc/cron.d/a", "image/png", 415),
    ],
)
def test_what_is_no_photo_is_refused_by_its_content(crew, site, data, name, kind, status):
    before = sorted(site.farm.snaps.iterdir())
    assert _snap(crew, data, key="nasty-key-1", name=name, kind=kind).status_code == status
    assert sorted(site.farm.snaps.iterdir()) == before


def test_a_picture_that_is_a_page_too_comes_back_as_pixels_only(crew, site):
    """Polyglot: a JPEG with markup in it and behind it; what is shown is drawn anew."""
    code = b"<script>alert('polyglot')</script>"
    picture = SNAPPED.read_bytes()
    comment = b"\xff\xfe" + (len(code) + 2).to_bytes(2, "big") + code
    data = picture[:2] + comment + picture[2:] + code
    answer = _snap(crew, data, key="poly-key-12", name="a.html", kind="text/html", tray="R1-04").json()[0]
    for path in (answer["url"] + "/photo.jpg", answer["url"].replace("readings", "pictures") + ".jpg",
                 answer["url"].replace("readings", "photos") + ".jpg"):  # fmt: skip
        shown = crew.get(path)
        if shown.status_code == 200:
            assert shown.headers["content-type"] == "image/jpeg"
            assert code not in shown.content


def test_where_a_photo_was_taken_is_in_nothing_that_is_shown(crew, site):
    place = {piexif.GPSIFD.GPSLatitudeRef: b"N", piexif.GPSIFD.GPSLatitude: ((48, 1), (12, 1), (0, 1))}
    exif = piexif.dump({"GPS": place, "0th": {piexif.ImageIFD.Artist: b"somebody"}})
    data = io.BytesIO()
    Image.open(SNAPPED).save(data, "JPEG", exif=exif, quality=90)
    answer = _snap(crew, data.getvalue(), key="place-key-1", tray="R1-04").json()[0]
    assert answer["state"] == "read"
    number = answer["url"].rpartition("/")[2]
    for path in (f"/pictures/{number}.jpg", f"/photos/{number}.jpg"):
        shown = crew.get(path).content
        assert not Image.open(io.BytesIO(shown)).getexif()
        assert b"somebody" not in shown


def test_a_bomb_is_refused_and_the_page_goes_on(crew):
    """A PNG of a few kilobytes that claims 900 megapixels."""
    import struct
    import zlib

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 30000, 30000, 8, 2, 0, 0, 0)
    png = (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 100000))
        + chunk(b"IEND", b"")
    )
    answer = _snap(crew, png, key="bomb-key-12", tray="R1-04", kind="image/png").json()[0]
    assert (answer["state"], answer["reason"]) == ("set_aside", "too_large")


def test_a_photo_over_the_limit_is_refused(crew, site, monkeypatch):
    small = site.settings.model_copy(update={"upload_max_mb": 0.1})
    monkeypatch.setattr(type(site), "settings", property(lambda self: small))
    data = SNAPPED.read_bytes()
    assert _snap(crew, data, key="large-key-1").status_code == 413


@pytest.mark.parametrize("key", ["short", "with space 123", "../../etc/passwd", "x" * 81])
def test_keys_are_plain(crew, photo, key):
    assert _snap(crew, photo, key=key).status_code == 422


def test_a_tray_that_is_not_in_the_list_is_refused(crew, photo):
    assert _snap(crew, photo, key="tray-key-12", tray="R9-99").status_code == 422


def test_no_photo_no_answer(crew):
    assert crew.fill("/snap", key="none-key-12").status_code == 422


def test_the_files_own_date_counts_where_the_photo_says_none(crew, site):
    taken = NOW.timestamp() * 1000 - 86_400_000
    data = (SAMPLES / "R1-05_2026-05-04.jpg").read_bytes() + b"2"
    _snap(crew, data, key="dated-key-1", tray="R2-07", modified=str(round(taken)))
    _snap(crew, data, key="dated-key-2", tray="R2-07", modified="99999999999999")
    with site.store.reading() as connection:
        assert snaps.snap_of(connection, "dated-key-1").taken_by_file == "2026-05-05T08:00:00+00:00"
        assert snaps.snap_of(connection, "dated-key-2").taken_by_file is None


def test_what_waits_when_the_page_ends_is_measured_when_it_starts_again(site, photo):
    from canopy.web.line import Line

    path = site.farm.keep(hashlib.sha256(photo).hexdigest(), "jpeg", photo)
    assert (site.farm.folder / path).is_file()
    snap = snaps.Snap("left-key-12", hashlib.sha256(photo).hexdigest(), "jpeg", "ana", site.now, None, chosen="R1-04")
    with site.store.writing() as connection:
        assert snaps.add_snap(connection, snap)
        assert not snaps.add_snap(connection, snap)
    line = Line(site)
    line.wait("left-key-12", seconds=30)
    line.close()
    with site.store.reading() as connection:
        assert snaps.snap_of(connection, "left-key-12").state == snaps.READ


def test_many_phones_at_once_lose_nothing(crew, site):
    """Five at once on one measuring process: all are kept, all get an answer that is no failure of the server."""
    picture = (SAMPLES / "R1-05_2026-05-04.jpg").read_bytes()
    csrf = crew.csrf()
    answers = {}

    def send(number):
        data = picture + bytes([number])  # another content, the same picture
        files = [("photos", ("a.jpg", data, "image/jpeg"))]
        fields = {"csrf": csrf, "key": f"phone-{number:04d}", "tray": "R2-07"}
        answers[number] = crew.post("/snap", data=fields, files=files, headers=JSON)

    threads = [threading.Thread(target=send, args=(number,)) for number in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {answer.status_code for answer in answers.values()} == {200}
    with site.store.reading() as connection:
        states = [snaps.snap_of(connection, f"phone-{number:04d}").state for number in range(5)]
    assert set(states) <= {snaps.READ, snaps.WAITING}


@pytest.mark.parametrize(
    ("head", "kind"),
    [(b"\xff\xd8\xff\xe0", "jpeg"), (b"\x89PNG\r\n\x1a\n", "png"), (b"RIFF\0\0\0\0WEBPVP8 ", "webp"),
     (b"\0\0\0\x18ftypheic", "heic"), (b"\0\0\0\x18ftypmif1", "heic"), (b"II*\0", "tiff"), (b"MM\0*", "tiff"),
     (b"\0\0\0\x18ftypqt  ", None), (b"RIFF\0\0\0\0WAVE", None), (b"", None), (b"<svg", None)],
)  # fmt: skip
def test_kinds_by_their_first_bytes(head, kind):
    assert kind_of(head) == kind


def test_a_failure_that_nobody_thought_of_stops_no_other_photo(crew, site, monkeypatch):
    from canopy.web import line

    real, failures = line._result, [ValueError("?"), StoreError("busy")]

    def fail_twice(site, snap):
        if failures:
            raise failures.pop(0)
        return real(site, snap)

    monkeypatch.setattr(line, "_result", fail_twice)
    monkeypatch.setattr(line, "_AGAIN_S", 0.0)
    lost = _snap(crew, SNAPPED.read_bytes() + b"lost", key="lost-key-12", tray="R1-04").json()[0]
    assert (lost["state"], lost["reason"]) == ("set_aside", "failed")
    assert "ValueError" in lost["message"]
    later = _snap(crew, SNAPPED.read_bytes() + b"later", key="later-key-1", tray="R1-04").json()[0]
    assert later["state"] == "read"  # the store was busy once, and then was not
