"""The uniformity map: departures from the median, and the effects of rows and columns."""

from __future__ import annotations

import numpy as np
import pytest

from canopy.pictures import uniformity_map
from canopy.pictures.palette import AWAY, css_colour
from canopy.pictures.uniformity import percent_away
from canopy.words import words_in

from .drawn import boxes, cells_of, parsed, texts

WORDS = words_in("en")


def test_departures_and_colours_by_hand():
    # Median of 800, 1000, 1000, 1100, 1900 is 1000.
    areas = [800.0, 1000.0, 1000.0, np.nan, 1100.0, 1900.0]
    table = cells_of(2, 3, area_mm2=areas, state=["planted"] * 3 + ["empty"] + ["planted"] * 2)
    found = boxes(parsed(uniformity_map(table, pattern="", words=WORDS, name="u")))
    assert [text for text, *_ in found.values()] == ["−20", "0", "0", "–", "+10", "+90"]
    # Seven steps of 20 % from −70 to +70 %: −20 in the third, 0 and +9.9 in the middle, +90 beyond the last.
    assert [found[cell][1] for cell in ("A1", "A2", "B3")] == [css_colour(AWAY[k].fill) for k in (2, 3, 6)]


def test_a_weak_row_is_drawn_and_said():
    grid = np.full((4, 5), 1000.0)
    grid[2] = 600.0
    table = cells_of(4, 5, area_mm2=grid.ravel())
    chart = uniformity_map(table, pattern="row C weak", words=WORDS, name="u")
    root = parsed(chart)
    assert dict(chart.rows)["row C"] == "−40"  # 600 of 1000, all others equal
    assert dict(chart.rows)["row A"] == "0"
    assert dict(chart.rows)["column 3"] == "0"
    assert chart.summary == "Median 10 cm². Pattern: row C weak."
    assert "row C weak" in texts(root)
    bars = [r for r in root.iter("rect") if float(r.get("width")) > 5 and r.get("fill") == css_colour(AWAY[1].fill)]
    bar = next(r for r in bars if r.get("height") == "26")  # beside a row
    # 40 of the 70 percent that fill half of the strip of 48 pixels.
    assert float(bar.get("width")) == pytest.approx(24 * 40 / 70, abs=0.01)


def test_without_plants_there_is_a_picture_too():
    table = cells_of(1, 2, area_mm2=[np.nan, np.nan], state=["empty", "empty"])
    chart = uniformity_map(table, pattern="too few plants to tell", words=WORDS, name="u")
    assert [text for text, *_ in boxes(parsed(chart)).values()] == ["–", "–"]
    assert "nan" not in chart.svg


@pytest.mark.parametrize(("share", "text"), [(0.124, "+12"), (-0.07, "−7"), (0.004, "0"), (-0.004, "0"), (1.5, "+150")])
def test_departures_have_their_sign(share, text):
    assert percent_away(share) == text
