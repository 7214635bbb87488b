"""The slider over two pictures: by keyboard, without a script, and safe from what comes from outside."""

from __future__ import annotations

import base64

import cv2
import numpy as np
import pytest
from browser import PHONE, barriers, opened

from canopy.pictures import Shot, before_after
from canopy.pictures.before_after import SCRIPT, STYLE, page_file
from canopy.words import words_in

WORDS = words_in("en")


def _picture(value):
    data = cv2.imencode(".png", np.full((40, 60, 3), value, np.uint8))[1].tobytes()
    return "data:image/png;base64," + base64.b64encode(data).decode()


PAIR = before_after(
    Shot(_picture(30), "2026-05-01", "Tray 1 on 1 May"),
    Shot(_picture(220), "2026-05-04", "Tray 1 on 4 May"),
    words=WORDS,
)
PAGE = (
    f'<!DOCTYPE html><html lang="en"><head><title>t</title><style>{page_file(STYLE)}</style></head>'
    f"<body><main><h1>Tray 1</h1>{PAIR}</main><script>{page_file(SCRIPT)}</script></body></html>"
)


def test_names_from_outside_are_escaped_and_nothing_is_inline():
    html = before_after(Shot('"><b>', "<i>", "<u>"), Shot("b", "c", "d"), words=WORDS)
    assert "<b>" not in html
    assert "<i>" not in html
    assert "style=" not in html
    assert "onload" not in html


def test_the_slider_uncovers_the_later_picture_by_keyboard():
    with opened(PAGE, size=PHONE) as page:
        slider = page.get_by_label("How much of the later picture is shown (%)")
        clip = "() => getComputedStyle(document.querySelector('.after img')).clipPath"
        # Shown from the right; clip-path cuts the rest off the left.
        assert page.evaluate(clip) in ("inset(0px 0px 0px 50%)", "inset(0px 0px 0px calc(50%))")
        slider.focus()
        page.keyboard.press("Home")
        assert "100%" in page.evaluate(clip)
        for _ in range(3):
            page.keyboard.press("ArrowRight")
        assert "97%" in page.evaluate(clip)
        assert barriers(page) == []


def test_without_a_script_both_pictures_are_shown():
    with opened(PAGE, size=PHONE, script=False) as page:
        first, second = (page.locator(f".{kind} img").bounding_box() for kind in ("before", "after"))
        assert second["y"] >= first["y"] + first["height"] or second["x"] >= first["x"] + first["width"]
        assert not page.locator("input").is_visible()


@pytest.mark.parametrize("name", [SCRIPT, STYLE])
def test_its_files_ask_nobody(name):
    assert "http" not in page_file(name)
    assert "url(" not in page_file(name)
