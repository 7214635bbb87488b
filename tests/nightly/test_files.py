"""Files and folders as they come: links, pipes, rights, names and dates of any kind, shares that are not there."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from canopy.errors import UsageError

from .conftest import BAD, counts, made_up_analyse


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
    assert counts(share.one_pass()) == (0, 0, 0, 0, 0)
