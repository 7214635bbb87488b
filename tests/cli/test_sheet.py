"""`canopy sheet draw` and `canopy sheet check`."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pypdfium2 as pdfium
import pytest
from sheet.printing import photo_of_print

from .typed import run


def _texts(path):
    document = pdfium.PdfDocument(path)
    texts = [document[number].get_textpage().get_text_bounded() for number in range(len(document))]
    document.close()
    return texts


def test_a_sheet_with_labels_of_a_tray_list(capsys, tmp_path):
    trays = tmp_path / "trays.csv"
    trays.write_text("photo,tray,layout\na_*.jpg,R1-01,72\nb_*.jpg,R1-02,72\nc_*.jpg,R1-01,72\n", encoding="utf-8")
    code, out, err = run(capsys, "sheet", "draw", tmp_path / "s.pdf", "--paper", "letter", "--trays", trays)
    assert (code, err) == (0, "")
    assert out.startswith(f"Written: {tmp_path / 's.pdf'} (labels: 2)")
    first, labels = _texts(tmp_path / "s.pdf")
    assert "Print at 100 %" in first
    assert labels.split() == ["R1-01", "R1-02"]


def test_without_a_list_there_is_one_page(capsys, tmp_path):
    code, out, _ = run(capsys, "sheet", "draw", tmp_path / "s.pdf")
    assert code == 0
    assert "labels" not in out.splitlines()[0]
    assert len(_texts(tmp_path / "s.pdf")) == 1


def test_what_cannot_be_done_is_told(capsys, tmp_path):
    code, _, err = run(capsys, "sheet", "draw", tmp_path / "none" / "s.pdf")
    assert (code, err.count("\n")) == (2, 1)
    assert "cannot be written" in err
    code, _, err = run(capsys, "sheet", "draw", tmp_path / "s.pdf", "--language", "xx")
    assert code == 2
    assert "language: no `xx`; " in err
    code, _, err = run(capsys, "sheet", "check", tmp_path / "no.jpg")
    assert code == 2
    assert "no.jpg: cannot be opened" in err


@pytest.mark.parametrize(("scale", "expected"), [(1.0, 0), (0.96, 1)])
def test_a_photo_of_the_print_is_checked(capsys, tmp_path, scale, expected):
    photo = tmp_path / "p.png"
    cv2.imwrite(str(photo), photo_of_print(across=scale, down=scale).rgb[:, :, ::-1])
    code, out, _ = run(capsys, "sheet", "check", photo)
    assert code == expected
    assert out.startswith("p.png: printed at ")
    assert out.rstrip().endswith("good") == (expected == 0)
    code, out, _ = run(capsys, "sheet", "check", photo, "--json")
    told = json.loads(out)
    assert (told["paper"], told["good"]) == ("a4", expected == 0)
    # As in tests of the room, and 0.3 % more: the file does not say the lens's focal length, nor so its height.
    assert told["across"] == pytest.approx(scale, abs=0.005)


def test_a_photo_of_something_else_is_set_aside(capsys, tmp_path):
    photo = tmp_path / "p.png"
    cv2.imwrite(str(photo), np.full((1200, 900, 3), 120, np.uint8))
    code, _, err = run(capsys, "sheet", "check", photo)
    assert code == 1
    assert err.startswith("set aside: p.png: ")
