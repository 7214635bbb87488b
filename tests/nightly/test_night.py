"""One pass after another over a folder: each content once, nothing lost, nothing twice."""

from __future__ import annotations

import fcntl
import os
import shutil
from pathlib import Path

import pandas as pd
import pytest

from canopy.errors import StoreBusy, StoreError, TrayNotFound, UsageError
from canopy.nightly.night import STORE_FILE, one_pass
from canopy.store.database import opened
from canopy.store.readings import put_reading
from canopy.store.turn import one_at_a_time

from .conftest import BAD, made_up_analyse


def _counts(night):
    return night.read, night.known, night.waiting, night.gone, len(night.set_aside)


def test_new_photos_are_read_once(any_share):
    share = any_share
    share.put("R1_a.jpg", b"1")
    share.put("rack/2/R2_b.PNG", b"22")
    assert _counts(share.one_pass()) == (2, 0, 0, 0, 0)
    before = share.read("cells")
    assert _counts(share.one_pass()) == (0, 2, 0, 0, 0)
    share.put("R1_c.jpg", b"333")
    assert _counts(share.one_pass()) == (1, 2, 0, 0, 0)
    assert share.read()["photo"].tolist() == ["R1_a.jpg", "R1_c.jpg", "rack/2/R2_b.PNG"]
    same = share.read("cells").query("photo != 'R1_c.jpg'").reset_index(drop=True)
    pd.testing.assert_frame_equal(same, before, check_exact=True)


def test_both_databases_give_equal_tables(share, request):
    for k in range(5):
        share.put(f"R1_{k}é.jpg", bytes(k + 1))
    share.one_pass()
    tables = {name: share.read(name) for name in ("cells", "trays", "criteria", "remarks", "trace")}
    other = request.getfixturevalue("any_share_on_server")
    other.one_pass()
    for name, expected in tables.items():
        pd.testing.assert_frame_equal(other.read(name), expected, check_exact=True)


@pytest.mark.parametrize("how", ["rename", "move", "copy", "touch", "hard link", "link"])
def test_a_known_content_under_another_name_or_date_gives_nothing_new(share, how):
    file = share.put("R1_a.jpg")
    share.one_pass()
    expected = share.read("cells")
    other = share.folder / "rack" / "R2_b.jpg"
    other.parent.mkdir()
    {
        "rename": lambda: file.rename(share.folder / "R1_b.jpg"),
        "move": lambda: file.rename(other),
        "copy": lambda: shutil.copy2(file, other),
        "touch": lambda: os.utime(file, (share.now_s - 60,) * 2),
        "hard link": lambda: other.hardlink_to(file),
        "link": lambda: other.symlink_to(file),
    }[how]()
    night = share.one_pass()
    assert (night.read, night.set_aside) == (0, [])
    pd.testing.assert_frame_equal(share.read("cells"), expected)
    assert share.one_pass().known == 1 + (how in {"copy", "hard link", "link"})


def test_copies_that_come_together_are_read_once_by_the_first_name(share):
    for name in ("R1_b.jpg", "R1_a.jpg", "z/R1_0.jpg"):
        share.put(name)
    assert share.one_pass().read == 1
    assert share.read()["photo"].tolist() == ["R1_a.jpg"]


def test_an_edited_photo_is_another_content(share):
    share.put("R1_a.jpg", b"1")
    share.one_pass()
    share.put("R1_a.jpg", b"2", age_s=1800)  # same name, same size
    assert share.one_pass().read == 1
    assert len(share.photos()) == 2
    share.put("R1_a.jpg", b"1", age_s=900)  # restored
    assert share.one_pass().read == 0
    assert len(share.photos()) == 2


def test_readings_of_photos_that_are_gone_stay(share):
    file = share.put("rack/R1_a.jpg")
    share.put("R1_b.jpg", b"other")
    share.one_pass()
    file.unlink()
    assert _counts(share.one_pass()) == (0, 1, 0, 1, 0)
    file.parent.rmdir()
    assert _counts(share.one_pass()) == (0, 1, 0, 0, 0)
    assert len(share.read()) == 2
    share.put("rack/R1_a.jpg")
    assert share.one_pass().read == 0


# ---- still being copied ------------------------------------------------------------------------------------------


def test_a_file_changed_a_moment_ago_is_left_for_the_next_pass(share):
    share.put("R1_a.jpg", b"ha", age_s=5)
    assert _counts(share.one_pass()) == (0, 0, 1, 0, 0)
    share.now_s += 10  # still younger than settle_s = 30, and grown since
    share.put("R1_a.jpg", b"half of", age_s=1)
    assert _counts(share.one_pass()) == (0, 0, 1, 0, 0)
    share.now_s += 10  # just as the last pass saw it
    assert _counts(share.one_pass()) == (1, 0, 0, 0, 0)


def test_a_file_from_the_future_is_read_once_it_rests(share):
    share.put("R1_a.jpg", age_s=-86400)
    assert _counts(share.one_pass()) == (0, 0, 1, 0, 0)
    assert _counts(share.one_pass()) == (1, 0, 0, 0, 0)


def test_a_clock_that_jumps_back_loses_nothing_and_doubles_nothing(share):
    share.put("R1_a.jpg", b"1")
    share.one_pass()
    share.put("R1_b.jpg", b"2")
    share.now_s -= 7200
    assert _counts(share.one_pass()) == (0, 1, 1, 0, 0)
    assert _counts(share.one_pass()) == (1, 1, 0, 0, 0)


def test_a_copy_that_ends_by_renaming_is_seen_when_it_has_its_name(share):
    hidden = share.put(".R1_a.jpg.x7Qz", b"whole")
    share.put("R1_a.jpg.part", b"whole")
    assert _counts(share.one_pass()) == (0, 0, 0, 0, 0)
    hidden.rename(share.folder / "R1_a.jpg")
    assert _counts(share.one_pass()) == (1, 0, 0, 0, 0)


# ---- set aside ---------------------------------------------------------------------------------------------------


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
    assert _counts(share.one_pass()) == (1, 0, 0, 0, 0)
    assert share.read()["photo"].tolist() == ["R1_a.jpg"]


def test_a_line_added_to_the_tray_list_lets_its_photo_in(share):
    share.put("R3_a.jpg")
    share.put("R1_a.jpg", BAD)
    assert [aside.code for aside in share.one_pass().set_aside] == ["truncated", "not_listed"]
    share.list_trays(("R1_*", "R1"), ("R3_*", "R3"))
    assert _counts(share.one_pass()) == (1, 1, 0, 0, 0)
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
    assert _counts(share.one_pass()) == (1, 2, 0, 0, 0)


def test_a_photo_of_two_trays_gives_a_reading_of_each(any_share):
    share = any_share
    share.list_trays(("R1_a.jpg", "R1"), ("R1_a.jpg", "R2"))
    share.put("R1_a.jpg")
    assert _counts(share.one_pass()) == (1, 0, 0, 0, 0)
    assert share.read()["tray"].tolist() == ["R1", "R2"]
    assert _counts(share.one_pass()) == (0, 1, 0, 0, 0)


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
    assert _counts(share.one_pass()) == (1, 0, 0, 0, 1)
    assert [(photo.state, photo.reason) for photo in share.photos()] == [("partly", "tray_not_found")]
    assert _counts(share.one_pass()) == (0, 1, 0, 0, 0)
    (share.folder / "canopy.toml").write_text("[photo]\nmax_megapixels = 50\n")
    assert _counts(share.one_pass()) == (1, 0, 0, 0, 0)
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


# ---- files that cannot be read -----------------------------------------------------------------------------------


def test_links_in_a_circle_end(share):
    share.put("rack/R1_a.jpg")
    (share.folder / "rack" / "again").symlink_to(share.folder, target_is_directory=True)
    (share.folder / "R1_self.jpg").symlink_to("R1_self.jpg")
    (share.folder / "R1_nowhere.jpg").symlink_to("nothing.jpg")
    night = share.one_pass()
    assert night.read == 1
    assert [(aside.photo, aside.code) for aside in night.set_aside] == [
        ("R1_nowhere.jpg", "cannot_open"), ("R1_self.jpg", "cannot_open")
    ]  # fmt: skip
    assert share.one_pass().set_aside == []


def test_a_pipe_named_like_a_photo_does_not_hold_the_pass_up(share):
    os.mkfifo(share.folder / "R1_a.jpg")
    night = share.one_pass()
    assert "not a regular file" in night.set_aside[0].message
    assert share.one_pass().set_aside == []


@pytest.mark.parametrize(("when", "expected"), [("before", 1), ("meanwhile", 2)])
def test_a_file_that_vanishes_or_grows_while_it_is_read_is_left(share, monkeypatch, when, expected):
    gone, grown = share.put("R1_a.jpg", b"first"), share.put("R1_b.jpg")
    share.put("R1_c.jpg", b"stays")
    real_open = os.open

    def open_(path, *given, **named):
        if when == "before":
            gone.unlink(missing_ok=True)
        number = real_open(path, *given, **named)
        if Path(path) == gone:
            gone.unlink()  # an open file can be read to its end
        if Path(path) == grown:
            grown.write_bytes(b"photo and more")
        return number

    monkeypatch.setattr("canopy.nightly.read.os.open", open_)
    night = share.one_pass()
    assert (night.read, night.waiting, night.set_aside) == (expected, 1, [])
    assert share.photos()[-1].path == "R1_c.jpg"
    assert "R1_b.jpg" not in [photo.path for photo in share.photos()]


def test_a_file_without_rights_is_tried_again_until_it_can_be_read(share, monkeypatch):
    share.put("R1_a.jpg")

    real = os.open

    def refuse(path, *given, **named):
        if str(path).endswith(".jpg"):
            raise PermissionError(13, "Permission denied")
        return real(path, *given, **named)

    monkeypatch.setattr("canopy.nightly.read.os.open", refuse)
    night = share.one_pass()
    assert night.set_aside[0].message == (
        "R1_a.jpg: cannot be opened (Permission denied); check the file and its rights"
    )
    assert share.one_pass().set_aside == []
    monkeypatch.undo()
    monkeypatch.setattr("canopy.nightly.work.analyse", made_up_analyse)
    assert share.one_pass().read == 1


def test_a_huge_file_is_set_aside_unread_until_the_limit_is_raised(share):
    settings = share.folder / "canopy.toml"
    settings.write_text("[store]\nphoto_max_mb = 0.001\n")
    share.put("R1_a.jpg", bytes(1001))
    share.put("R1_b.jpg", bytes(1000))
    night = share.one_pass()
    assert (night.read, [aside.code for aside in night.set_aside]) == (1, ["file_too_large"])
    assert share.one_pass().set_aside == []
    settings.write_text("[store]\nphoto_max_mb = 0.002\n")
    assert share.one_pass().read == 1


def test_names_in_any_alphabet_and_none(share):
    share.list_trays(("*", "R1"))
    not_utf8 = b"\xff\xfe.jpg".decode("utf-8", "surrogateescape")
    names = ["写真.jpg", "ليل.jpg", "a\\u0041.jpg", "=1+1.jpg", "line\nbreak.jpg", not_utf8]
    for k, name in enumerate(names):
        share.put(name, bytes(k + 1))
    assert share.one_pass().read == len(names)
    assert set(share.read()["photo"]) == set(names)
    assert share.one_pass().known == len(names)


def test_dates_that_no_database_holds(any_share):
    file = any_share.put("R1_a.jpg")
    os.utime(file, (2**33 + 2**31,) * 2)  # in 2310; nanoseconds since 1970 end in 2262 at 64 bits
    assert any_share.one_pass().waiting == 1
    assert any_share.one_pass().read == 1
    assert any_share.one_pass().known == 1


def test_paths_that_no_key_holds_are_told_and_the_rest_goes_on(any_share):
    share = any_share
    deep = "/".join(["é" * 120] * 5)  # 1204 bytes in UTF-8
    share.put(f"{deep}/R1_a.jpg", b"deep")
    share.put("R1_b.jpg")
    night = share.one_pass()
    assert (night.read, night.exit_code) == (1, 1)
    assert night.problems == [f"{deep}: its path is too long to be kept; move it up, or give it shorter names"]
    undecodable = b"\xff".decode("utf-8", "surrogateescape")
    share.put(f"{undecodable * 160}/R1_{undecodable * 240}.jpg", b"long")  # as long as is kept
    assert share.one_pass().read == 1


def test_the_source_is_only_read(share):
    share.put("R1_a.jpg")
    share.put("rack/R1_b.jpg", BAD)
    before = {path: path.stat().st_mtime_ns for path in share.folder.rglob("*")}
    for folder in (share.folder, share.folder / "rack"):
        folder.chmod(0o555)
    try:
        share.one_pass()
    finally:
        for folder in (share.folder, share.folder / "rack"):
            folder.chmod(0o755)
    assert {path: path.stat().st_mtime_ns for path in share.folder.rglob("*")} == before


def test_a_share_that_is_not_mounted_is_told_and_nothing_is_forgotten(share):
    file = share.put("R1_a.jpg")
    share.one_pass()
    share.options["trays"] = (share.folder / "trays.csv").rename(share.folder.parent / "trays.csv")
    away = file.rename(share.folder.parent / "away.jpg")
    with pytest.raises(UsageError, match="is empty, but photos are known in it; check that it is mounted"):
        share.one_pass()
    away.rename(file)
    assert share.one_pass().known == 1
    shutil.rmtree(share.folder)
    with pytest.raises(UsageError, match="no such folder; check the path, and that it is mounted"):
        share.one_pass()


def test_a_folder_that_cannot_be_listed_is_told_and_keeps_its_files(share, monkeypatch):
    share.put("rack/2/R1_a.jpg")
    share.one_pass()
    real = os.scandir

    def scandir(path):
        if str(path).endswith("rack"):
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr("canopy.nightly.look.os.scandir", scandir)
    night = share.one_pass()
    assert night.problems == ["rack: cannot be listed (Permission denied); check its rights"]
    assert night.exit_code == 1
    monkeypatch.undo()
    assert share.one_pass().known == 1


def test_results_and_pictures_made_of_photos_are_no_photos(share):
    share.put("overlays/R1_a.jpg")
    share.put("masks/R1_a.png")
    for name in ("run.json", "cells.csv", "R1_b.jpg"):
        share.put(f"results/{name}")
    assert _counts(share.one_pass()) == (0, 0, 0, 0, 0)


# ---- one at a time, any time -------------------------------------------------------------------------------------


def test_a_second_pass_stands_back(any_share):
    share = any_share
    share.put("R1_a.jpg")
    share.one_pass()
    with (
        opened(share.store, busy_timeout_s=5) as store,
        one_at_a_time(store),
        pytest.raises(StoreBusy, match="another pass is running"),
    ):
        share.one_pass()
    assert share.one_pass().known == 1


def test_a_lock_left_behind_by_a_killed_process_locks_nothing_and_goes(share):
    lock = Path(share.store + ".lock")
    lock.write_text("4194305\n")
    share.one_pass()
    assert [path.name for path in lock.parent.iterdir()] == ["canopy.db"]


def test_a_lock_that_was_removed_under_its_holder_is_made_anew(share, monkeypatch):
    lock, real = Path(share.store + ".lock"), fcntl.flock
    removed = []

    def flock(number, how):
        if not removed:
            removed.append(lock.unlink())
        real(number, how)

    monkeypatch.setattr("canopy.store.turn.fcntl.flock", flock)
    share.one_pass()
    assert removed
    assert not lock.exists()


def test_what_was_done_before_a_pass_ended_badly_is_kept_and_not_done_again(any_share, monkeypatch):
    share = any_share
    for k in range(4):
        share.put(f"R1_{k}.jpg", bytes(k + 1))
    calls = []

    def put(connection, reading, origin):
        calls.append(reading.photo)
        number = put_reading(connection, reading, origin)
        if len(calls) == 3:
            raise KeyboardInterrupt  # after its rows were written, before they were kept
        return number

    monkeypatch.setattr("canopy.nightly.take_in.put_reading", put)
    with pytest.raises(KeyboardInterrupt):
        share.one_pass()
    assert len(share.read()) == 2
    assert share.one_pass().read == 2
    assert calls == ["R1_0.jpg", "R1_1.jpg", "R1_2.jpg", "R1_2.jpg", "R1_3.jpg"]
    assert len(share.read("cells")) == 8


# ---- where the store is ------------------------------------------------------------------------------------------


def test_the_store_lies_in_the_folder_unless_told_otherwise(share, tmp_path):
    share.put("R1_a.jpg")
    clock = {"clock": lambda: round(share.now_s * 1e9)}
    assert one_pass(share.folder, **clock).store == str(share.folder / STORE_FILE)
    (share.folder / "canopy.toml").write_text('[store]\nurl = "../other.db"\n')
    assert Path(one_pass(share.folder, **clock).store).resolve() == tmp_path / "other.db"
    assert one_pass(share.folder, **clock).known == 1


def test_a_folder_that_cannot_be_written_asks_for_another_place(share):
    (share.folder / "canopy.toml").write_text('[store]\nurl = "absent/s.db"\n')
    with pytest.raises(StoreError, match="its folder is absent or cannot be written; name another store with --store"):
        one_pass(share.folder)
