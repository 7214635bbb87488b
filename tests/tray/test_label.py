"""Labels: QR codes drawn by OpenCV's encoder (ISO/IEC 18004), read back from pictures of trays."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from canopy.tray.label import read_labels, tray_named


def _picture(*texts, module_px=4, long_side_px=1600, grey=120):
    picture = np.full((long_side_px * 3 // 4, long_side_px, 3), grey, np.uint8)
    for place, text in enumerate(texts):
        code = cv2.QRCodeEncoder.create().encode(text)
        code = cv2.resize(code, None, fx=module_px, fy=module_px, interpolation=cv2.INTER_NEAREST)
        x = 100 + place * 500
        picture[100 : 100 + code.shape[0], x : x + code.shape[1]] = code[:, :, None]
    return picture


@pytest.mark.parametrize("text", ["R1-05", "T/3 north", "räck 7"])
def test_a_label_is_read(text):
    assert read_labels(_picture(text)) == (text,)


def test_two_labels_are_read_each_once():
    assert read_labels(_picture("R1-05", "R1-06")) == ("R1-05", "R1-06")


def test_a_small_label_in_a_large_photo_is_read():
    assert read_labels(_picture("R1-05", module_px=3, long_side_px=3600)) == ("R1-05",)


def test_no_label_no_text():
    assert read_labels(_picture()) == ()


@pytest.mark.parametrize(
    ("labels", "tray"),
    [(("R1",), "R1"), (("R1", "elsewhere"), "R1"), (("R1", "R2"), None), (("elsewhere",), None), ((), None)],
)
def test_the_one_label_that_is_a_tray_counts(labels, tray):
    assert tray_named(labels, {"R1", "R2"}) == tray
