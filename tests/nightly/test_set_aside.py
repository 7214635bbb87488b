"""Photos that give no reading: told once, tried again when something changed, never in the way of others."""

from __future__ import annotations

import pytest

from canopy.errors import TrayNotFound

from .conftest import BAD, counts, made_up_analyse


def test_a_photo_that_fails_is_told_once_and_tried_again_only_when_something_changed(any_share, monkeypatch):
    share = any_share
    share.put("R1_a.jpg", BAD)
    share.put("R1_b.jpg", b"good")
    night = share.one_pass()
    assert (night.exit_code, night.read) == (1, 1)
    assert [(aside.photo, aside.code) for aside in night.set_aside] == [("R1_a.jpg", "truncated")]
    tried = []
    monkeypatch.setattr("canopy.nightly.work.outcome", lambda *given, **_: tried.append(given) or 1 / 0)
    assert share.one_pass().exit_code == 0
    share.put("R1_c.jpg", BAD)  # a copy of the same
    assert share.one_pass().exit_code == 0
    assert tried == []
    (share.folder / "canopy.toml").write_text("[photo]\nmax_megapixels = 50\n")
    with pytest.raises(ZeroDivisionError):
        share.one_pass()
    assert len(tried) == 1


def test_a_changed_file_is_tried_again(share):
    share.put("R1_a.jpg", BAD)
    share.one_pass()
    share.put("R1_a.jpg", b"whole", age_s=1000)
    assert counts(share.one_pass()) == (1, 0, 0, 0, 0)
    assert share.read()["photo"].tolist() == ["R1_a.jpg"]


def test_a_line_added_to_the_tray_list_lets_its_photo_in(share):
    share.put("R3_a.jpg")
    share.put("R1_a.jpg", BAD)
    assert [aside.code for aside in share.one_pass().set_aside] == ["truncated", "not_listed"]
    share.list_trays(("R1_*", "R1"), ("R3_*", "R3"))
    assert counts(share.one_pass()) == (1, 1, 0, 0, 0)
    assert share.read()["tray"].tolist() == ["R3"]


def test_a_photo_that_is_renamed_to_a_listed_name_is_let_in(share):
    file = share.put("IMG_1.jpg")
    assert share.one_pass().set_aside[0].code == "not_listed"
    file.rename(share.folder / "R1_a.jpg")
    assert share.one_pass().read == 1


def test_two_names_of_a_content_that_fails_are_not_tried_in_turns(share):
    share.put("R1_a.jpg", BAD)
    share.put("R2_a.jpg", BAD)  # another tray: worth its own try
    assert len(share.one_pass().set_aside) == 2
    share.put("R1_b.jpg", b"good")
    assert counts(share.one_pass()) == (1, 2, 0, 0, 0)


def test_a_photo_of_two_trays_gives_a_reading_of_each(any_share):
    share = any_share
    share.list_trays(("R1_a.jpg", "R1"), ("R1_a.jpg", "R2"))
    share.put("R1_a.jpg")
    assert counts(share.one_pass()) == (1, 0, 0, 0, 0)
    assert share.read()["tray"].tolist() == ["R1", "R2"]
    assert counts(share.one_pass()) == (0, 1, 0, 0, 0)


def test_of_a_photo_of_two_trays_only_the_one_that_failed_is_tried_again(share, monkeypatch):
    tried = []

    def second_fails(data, record, *, name, settings, **_):
        tried.append(record.tray)
        if record.tray == "R2" and settings.photo.max_megapixels != 50:
            raise TrayNotFound("tray_not_found", f"{name}: no tray R2")
        return made_up_analyse(data, record, name=name)

    monkeypatch.setattr("canopy.nightly.work.analyse", second_fails)
    share.list_trays(("R1_a.jpg", "R1"), ("R1_a.jpg", "R2"))
    share.put("R1_a.jpg")
    assert counts(share.one_pass()) == (1, 0, 0, 0, 1)
    assert [(photo.state, photo.reason) for photo in share.photos()] == [("partly", "tray_not_found")]
    assert counts(share.one_pass()) == (0, 1, 0, 0, 0)
    (share.folder / "canopy.toml").write_text("[photo]\nmax_megapixels = 50\n")
    assert counts(share.one_pass()) == (1, 0, 0, 0, 0)
    assert tried == ["R1", "R2", "R2"]
    assert share.read()["tray"].tolist() == ["R1", "R2"]
    assert [(photo.state, photo.reason) for photo in share.photos()] == [("read", None)]


def test_settings_of_the_store_change_nothing_that_is_read(share):
    share.put("R1_a.jpg")
    share.one_pass()
    (share.folder / "canopy.toml").write_text("[store]\nsettle_s = 5\nphoto_max_mb = 100\n")
    fingerprint = share.read("trace")["fingerprint"].tolist()
    share.put("R1_b.jpg", b"other")
    share.one_pass()
    assert share.read("trace")["fingerprint"].tolist() == fingerprint * 2


def test_a_surprise_in_one_photo_does_not_stop_the_rest(share, monkeypatch):
    def fail(data, record, *, name, **_):
        raise RuntimeError(f"unforeseen in\n{name}")

    monkeypatch.setattr("canopy.nightly.work.analyse", fail)
    share.put("R1_a.jpg")
    night = share.one_pass()
    assert [aside.code for aside in night.set_aside] == ["failed"]
    assert "\n" not in night.set_aside[0].message


def test_lines_of_the_tray_list_that_are_wrong_are_told_every_time(share):
    (share.folder / "trays.csv").write_text("photo,tray,layout\nR1_*,R1,0x0\n")
    share.put("R1_a.jpg")
    night = share.one_pass()
    assert (night.exit_code, [aside.code for aside in night.set_aside]) == (2, ["tray_list"])
    night = share.one_pass()
    assert (night.exit_code, night.set_aside) == (2, [])
