"""One pass after another over a folder: each content once, nothing lost, nothing twice."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pandas as pd
import pytest

from canopy.errors import StoreError
from canopy.nightly.farm import STORE_FILE
from canopy.nightly.night import one_pass

from .conftest import counts


def test_new_photos_are_read_once(any_share):
    share = any_share
    share.put("R1_a.jpg", b"1")
    share.put("rack/2/R2_b.PNG", b"22")
    assert counts(share.one_pass()) == (2, 0, 0, 0, 0)
    before = share.read("cells")
    assert counts(share.one_pass()) == (0, 2, 0, 0, 0)
    share.put("R1_c.jpg", b"333")
    assert counts(share.one_pass()) == (1, 2, 0, 0, 0)
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
    assert counts(share.one_pass()) == (0, 1, 0, 1, 0)
    file.parent.rmdir()
    assert counts(share.one_pass()) == (0, 1, 0, 0, 0)
    assert len(share.read()) == 2
    share.put("rack/R1_a.jpg")
    assert share.one_pass().read == 0


def test_a_file_changed_a_moment_ago_is_left_for_the_next_pass(share):
    share.put("R1_a.jpg", b"ha", age_s=5)
    assert counts(share.one_pass()) == (0, 0, 1, 0, 0)
    share.now_s += 10  # still younger than settle_s = 30, and grown since
    share.put("R1_a.jpg", b"half of", age_s=1)
    assert counts(share.one_pass()) == (0, 0, 1, 0, 0)
    share.now_s += 10  # just as the last pass saw it
    assert counts(share.one_pass()) == (1, 0, 0, 0, 0)


def test_a_file_from_the_future_is_read_once_it_rests(share):
    share.put("R1_a.jpg", age_s=-86400)
    assert counts(share.one_pass()) == (0, 0, 1, 0, 0)
    assert counts(share.one_pass()) == (1, 0, 0, 0, 0)


def test_a_clock_that_jumps_back_loses_nothing_and_doubles_nothing(share):
    share.put("R1_a.jpg", b"1")
    share.one_pass()
    share.put("R1_b.jpg", b"2")
    share.now_s -= 7200
    assert counts(share.one_pass()) == (0, 1, 1, 0, 0)
    assert counts(share.one_pass()) == (1, 1, 0, 0, 0)


def test_a_copy_that_ends_by_renaming_is_seen_when_it_has_its_name(share):
    hidden = share.put(".R1_a.jpg.x7Qz", b"whole")
    share.put("R1_a.jpg.part", b"whole")
    assert counts(share.one_pass()) == (0, 0, 0, 0, 0)
    hidden.rename(share.folder / "R1_a.jpg")
    assert counts(share.one_pass()) == (1, 0, 0, 0, 0)


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
