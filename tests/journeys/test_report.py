"""The report: one file with everything in it, read as a browser would read it."""

from __future__ import annotations

import base64
import re
from html.parser import HTMLParser

import cv2
import numpy as np
import pandas as pd
import pytest

VOID = {"meta", "img", "input", "br", "circle", "rect", "path", "use", "link"}


class _Page(HTMLParser):
    """Elements, their attributes and their text, with a check that tags are closed in order."""

    def __init__(self):
        super().__init__()
        self.open, self.elements, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.text.append(data)


@pytest.fixture(scope="session")
def html(scored):
    return (scored / "report.html").read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def page(html):
    page = _Page()
    page.feed(html)
    page.close()
    return page


def _words(page):
    return " ".join(" ".join(page.text).split())


def test_tags_are_closed_and_ids_stand_once(page):
    assert page.open == []
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    links = [attributes["href"] for _, attributes in page.elements if "href" in attributes]
    assert {link.removeprefix("#") for link in links} <= set(ids)


def test_nothing_is_fetched_from_anywhere(html, page):
    assert not {"script", "link", "iframe", "object"} & {tag for tag, _ in page.elements}
    assert all(
        attributes["src"].startswith("data:image/jpeg;base64,") for tag, attributes in page.elements if tag == "img"
    )
    assert not re.search(r"https?://|@import|url\(", html)


def test_it_is_made_for_a_phone_in_light_and_dark(html, page):
    assert ("meta", {"name": "viewport", "content": "width=device-width, initial-scale=1"}) in page.elements
    assert "prefers-color-scheme: dark" in html


def test_pictures_are_those_of_the_trays(page):
    pictures = [attributes for tag, attributes in page.elements if tag == "img"]
    assert [picture["alt"] for picture in pictures] == [
        "Photo of tray R1 with the decision for each cell",
        "Photo of tray R2 with the decision for each cell",
    ]
    data = base64.b64decode(pictures[0]["src"].partition(",")[2])
    assert cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR).shape[1] == 1400


def test_every_pick_stands_there_in_walking_order(scored, html):
    picks = pd.read_csv(scored / "picks.csv")
    shown = re.findall(r'<details class="pick"><summary>([A-Z]+\d+)</summary>', html)
    assert shown == picks["cell"].tolist()
    assert f"<h1>{len(picks)} to pick in 2 trays</h1>" in html


def test_every_scored_cell_has_its_sum(scored, page):
    cells = pd.read_csv(scored / "cells.csv")
    planted = cells[cells["state"] == "planted"]
    picked = planted["decision"].isin(["harvest", "transplant"]).sum()
    # Once under every cell, once more under each pick.
    assert len(re.findall(r"\d+ = 100 · size", _words(page))) == len(planted) + picked


def test_cautions_version_and_settings_are_named(page):
    words = _words(page)
    assert "product label and local rules decide" in words
    assert "never a diagnosis" in words
    assert re.search(r"canopy \d+\.\d+\.\d+ · settings [0-9a-f]{12}", words)
