"""What goes wrong in real folders: each gives one line with file and mend, the others go on, the code is right."""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
import struct
import zlib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from canopy.cli.app import main

from .conftest import HEADER, LINE, SETTINGS

GOOD = "R1_2026-03-20_0530.png"


@pytest.fixture
def folder(farm, tmp_path):
    """A folder with one good photo, its tray list and settings."""
    (tmp_path / "photos").mkdir()
    shutil.copy(farm.folder / GOOD, tmp_path / "photos" / GOOD)
    (tmp_path / "photos" / "canopy.toml").write_text(SETTINGS)
    _write_list(tmp_path / "photos", LINE.format(photo="R1_*.png", tray="R1"))
    return tmp_path / "photos"


def _write_list(folder, *lines, header=HEADER):
    (folder / "trays.csv").write_text(header + "".join(lines))


def _score(folder, capsys, *more):
    """Exit code and the lines on standard error."""
    with pytest.raises(SystemExit) as stopped:
        main(["score", str(folder), "--out", str(folder.parent / "out"), "--workers", "1", *more])
    return stopped.value.code or 0, capsys.readouterr().err.splitlines()


def _trays(folder):
    return pd.read_csv(folder.parent / "out" / "trays.csv").set_index("photo")


def _huge_png() -> bytes:
    """A PNG whose header claims 20,000 × 20,000 pixels, with next to nothing behind it."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", 20000, 20000, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    )


def _write_truncated(path):
    noise = np.random.default_rng(0).integers(0, 255, (300, 400, 3), dtype=np.uint8)
    Image.fromarray(noise).save(path, quality=90)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def _write_animation(path):
    frames = [Image.new("RGB", (200, 100), colour) for colour in ("red", "blue")]
    frames[0].save(path, save_all=True, append_images=frames[1:])


BAD_PHOTOS = {
    "empty.jpg": (lambda path: path.write_bytes(b""), "file is empty"),
    "text.jpg": (lambda path: path.write_text("dear diary"), "not a picture"),
    "cut.jpg": (_write_truncated, "rows are missing; copy the photo again"),
    "dot.png": (lambda path: Image.new("RGB", (1, 1)).save(path), "1 [x×] 1 pixels"),
    "bomb.png": (lambda path: path.write_bytes(_huge_png()), "megapixels"),
    "film.gif": (_write_animation, "animation"),
}


@pytest.mark.parametrize("name", BAD_PHOTOS)
def test_a_bad_photo_is_set_aside_and_the_good_one_goes_on(folder, capsys, name):
    write, words = BAD_PHOTOS[name]
    write(folder / name)
    _write_list(folder, LINE.format(photo="R1_*.png", tray="R1"), LINE.format(photo=name, tray="R9"))
    code, lines = _score(folder, capsys)
    assert code == 1
    (line,) = lines
    assert line.startswith(f"set aside: {name}: ")
    assert re.search(words, line)
    trays = _trays(folder)
    assert trays.loc[GOOD, "planted"] == 13
    assert trays.loc[name, "quality"] == "refused"
    assert trays.loc[name, "quality_reason"] == line.removeprefix("set aside: ")


def test_a_photo_that_is_listed_but_absent(folder, capsys):
    _write_list(folder, LINE.format(photo="R1_*.png", tray="R1"), LINE.format(photo="R2.jpg", tray="R2"))
    code, lines = _score(folder, capsys)
    assert (code, lines) == (1, ["set aside: R2.jpg: named in trays.csv, line 3, but not there"])
    assert _trays(folder).loc["R2.jpg", "tray"] == "R2"


def test_a_photo_that_is_there_but_not_listed(folder, capsys):
    shutil.copy(folder / GOOD, folder / "other.png")
    code, lines = _score(folder, capsys)
    assert (code, lines) == (1, ["set aside: other.png: fits no line of trays.csv; add a line for it"])


def test_sown_in_the_future(folder, capsys):
    _write_list(folder, LINE.format(photo="R1_*.png", tray="R1").replace("2026-02-26", "2026-03-21"))
    code, (line,) = _score(folder, capsys)
    assert code == 1
    assert line == (
        f"set aside: {GOOD}: `sown_on` 2026-03-21 lies after the photo (2026-03-20); "
        "correct `sown_on` or the camera's date"
    )


def test_a_tray_that_is_not_in_the_picture(folder, capsys):
    Image.fromarray(np.random.default_rng(0).integers(0, 90, (300, 400, 3), dtype=np.uint8)).save(folder / "no.png")
    _write_list(folder, LINE.format(photo="R1_*.png", tray="R1"), LINE.format(photo="no.png", tray="R2"))
    code, (line,) = _score(folder, capsys)
    assert code == 1
    assert line.startswith("set aside: no.png: ")
    assert "corners" in line


def test_a_wrong_column(folder, capsys):
    _write_list(folder, "R1,3x5\n", header="tray,layuot\n")
    code, (line,) = _score(folder, capsys)
    assert code == 2
    assert line.startswith("canopy: trays.csv, line 1: column `layuot` is not known; did you mean `layout`? allowed: ")
    assert not (folder.parent / "out").exists()


def test_an_unknown_layout_sets_its_photos_aside_and_the_others_go_on(folder, capsys):
    shutil.copy(folder / GOOD, folder / "R2.png")
    wrong = LINE.format(photo="R2.png", tray="R2").replace("3x5", "73")
    _write_list(folder, LINE.format(photo="R1_*.png", tray="R1"), wrong)
    code, (line,) = _score(folder, capsys)
    assert code == 2
    assert line.startswith("canopy: trays.csv, line 3, column `layout`: `73` is not known")
    assert _trays(folder)["planted"].to_dict()[GOOD] == 13
    assert _trays(folder).loc["R2.png", "quality"] == "refused"


def test_two_trays_of_one_name_are_set_aside_and_the_others_go_on(folder, capsys):
    shutil.copy(folder / GOOD, folder / "a.png")
    shutil.copy(folder / GOOD, folder / "b.png")
    _write_list(
        folder,
        LINE.format(photo="R1_*.png", tray="R1"),
        LINE.format(photo="a.png", tray="R2"),
        LINE.format(photo="b.png", tray="R2").replace("2026-02-26", "2026-02-20"),
    )
    code, (line,) = _score(folder, capsys)
    assert code == 2
    assert line == (
        "canopy: trays.csv, lines 3 and 4, column `sown_on`: two trays are named `R2` but differ "
        "(2026-02-26, 2026-02-20); rename one or make them agree"
    )
    assert _trays(folder)["planted"].dropna().to_dict() == {GOOD: 13}


def test_a_folder_without_photos(folder, tmp_path, capsys):
    (tmp_path / "none").mkdir()
    code, lines = _score(tmp_path / "none", capsys)
    assert code == 2
    assert lines == [
        f"canopy: {tmp_path / 'none'}: no photos found; give photos (JPEG, PNG, TIFF, WebP, HEIC) or their folder"
    ]
    # Beside a folder with photos it is only set aside.
    code, lines = _score(folder, capsys, str(tmp_path / "none"))
    assert code == 1
    assert lines == ["set aside: none: folder without photos"]


def test_no_tray_list(folder, capsys):
    (folder / "trays.csv").unlink()
    code, (line,) = _score(folder, capsys)
    assert code == 2
    assert line == (
        f"canopy: {folder / 'trays.csv'}: no such tray list; give one with --trays, or run `canopy init {folder}` "
        "for a starter to fill in"
    )


def test_wrong_settings(folder, capsys):
    (folder / "canopy.toml").write_text("[outputs]\noverlay_quality = 101\n")
    code, lines = _score(folder, capsys)
    assert code == 2
    assert lines == [
        "canopy: canopy.toml, line 2: `outputs.overlay_quality` = 101: should be less than or equal to 100"
    ]


def test_out_that_cannot_be_written(folder, capsys):
    (folder.parent / "out").write_text("a file")
    code, (line,) = _score(folder, capsys)
    assert code == 2
    assert line.endswith("out: --out is a file or lies below one; give a folder")


def test_out_below_a_file(folder, capsys):
    (folder.parent / "file").write_text("a file")
    with pytest.raises(SystemExit) as stopped:
        main(["score", str(folder), "--out", str(folder.parent / "file" / "out")])
    assert stopped.value.code == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.endswith("out: --out is a file or lies below one; give a folder")


def test_out_without_the_right_to_write(folder, capsys, monkeypatch):
    def refused(path, *args, **options):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))

    (folder.parent / "out").mkdir(mode=0o500)
    if os.geteuid() == 0:  # the superuser may write everywhere, so the refusal has to be played
        monkeypatch.setattr(Path, "mkdir", refused)
    code, (line,) = _score(folder, capsys)
    assert code == 2
    words = os.strerror(errno.EACCES)
    assert line.endswith(f"out: cannot be written ({words}); choose another --out or change its rights")


@pytest.mark.parametrize("out", ["photos", "photos/../photos"])
def test_out_is_never_the_folder_of_photos(folder, capsys, out):
    before = (folder / "trays.csv").read_bytes()
    with pytest.raises(SystemExit) as stopped:
        main(["score", str(folder), "--out", str(folder.parent / out)])
    assert stopped.value.code == 2
    assert "--out is the folder of the photos" in capsys.readouterr().err
    assert (folder / "trays.csv").read_bytes() == before


def test_the_report_and_json_tell_the_same_reasons(folder, capsys):
    (folder / "empty.png").write_bytes(b"")
    _write_list(folder, LINE.format(photo="*.png", tray="R1"))
    with pytest.raises(SystemExit) as stopped:
        main(["score", str(folder), "--out", str(folder.parent / "out"), "--json"])
    told = json.loads(capsys.readouterr().out)
    assert stopped.value.code == told["exit_code"] == 1
    (aside,) = told["set_aside"]
    assert (aside["photo"], aside["code"]) == ("empty.png", "empty_file")
    assert told["photos_read"] == 1
    assert told["top_picks"][0].keys() == {"tray", "cell", "decision", "readiness"}
    report = (folder.parent / "out" / "report.html").read_text()
    assert aside["message"] in report
    assert aside["advice"] in report
