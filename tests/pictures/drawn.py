"""What a picture holds, read from its SVG as a browser would."""

from __future__ import annotations

from xml.etree import ElementTree as Tree

import pandas as pd

from canopy.measure import CELL_COLUMNS, as_table
from canopy.records import cell_name


def parsed(chart):
    return Tree.fromstring(chart.svg)


def boxes(root, key="data-cell"):
    """{cell: (text, fill, ink, tooltip)} of all boxes of a map; with data-day too, by (cell, day)."""
    found = {}
    for group in root.iter("g"):
        if group.get(key) is not None:
            place = group.get("data-cell")
            place = (place, group.get("data-day")) if group.get("data-day") else place
            text, rect = group.find("text"), group.find("rect")
            found[place] = (text.text or "", rect.get("fill"), text.get("fill"), group.find("title").text)
    return found


def texts(root):
    return [element.text or "" for element in root.iter("text")]


def points(element):
    return [tuple(map(float, pair.split(","))) for pair in element.get("points").split()]


def cells_of(rows, columns, **values):
    """A table of cells in reading order, planted, with what is given."""
    places = [(r, c) for r in range(1, rows + 1) for c in range(1, columns + 1)]
    data = {
        "row": [r for r, _ in places],
        "col": [c for _, c in places],
        "cell": [cell_name(r, c) for r, c in places],
        "state": ["planted"] * len(places),
        **values,
    }
    return as_table(data, columns=CELL_COLUMNS)


def is_missing(value):
    return value is None or bool(pd.isna(value))
