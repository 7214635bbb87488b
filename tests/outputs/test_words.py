"""Numbers as people read them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from canopy.outputs.words import area_text, cell_facts, counted, headline, tray_facts


def test_the_headline_counts_what_is_to_be_done(reading):
    assert headline(reading.cells) == "2 of 5 plants to cut now, 1 to look at first, 1 to leave."


def test_the_headline_of_seedlings_and_of_nothing(reading):
    seedlings = reading.cells.assign(decision=reading.cells["decision"].replace("harvest", "transplant"))
    assert headline(seedlings).startswith("2 of 5 plants to move on now")
    waiting = reading.cells.assign(decision=reading.cells["decision"].replace("harvest", "wait"))
    assert headline(waiting) == "None of 5 plants is ready, 1 to look at first, 3 to leave."
    unscored = reading.cells.assign(decision=pd.Series([pd.NA] * 6, dtype="string"))
    assert headline(unscored) == "5 plants in 6 cells, measured and not scored: the tray list names no crop."
    dead = reading.cells.assign(state="empty")
    assert headline(dead) == "No living plant in 6 cells."


@pytest.mark.parametrize(("number", "words"), [(0, "0 photos"), (1, "1 photo"), (2, "2 photos"), (21, "21 photos")])
def test_one_has_no_plural(number, words):
    assert counted(number, "photo") == words


def test_the_headline_of_one_plant(reading):
    one = reading.cells.iloc[:1]
    assert headline(one) == "1 of 1 plant to cut now."
    assert headline(one.assign(state="empty")) == "No living plant in 1 cell."


@pytest.mark.parametrize(("area", "text"), [(4.4, "4 mm²"), (99, "99 mm²"), (100, "1.0 cm²"), (12345, "123.5 cm²")])
def test_areas(area, text):
    assert area_text(area) == text


def test_facts_of_a_cell_in_one_unit(reading):
    cell = reading.cells.iloc[0].to_dict() | {"area_low_mm2": 1190.0, "area_high_mm2": 1312.0}
    assert (
        cell_facts(cell, clearance_mm=18.0) == "Leaf area 12.6 cm² (11.9 to 13.1), 40 mm wide, 18 mm to the next plant"
    )
    assert cell_facts(cell, clearance_mm=-2.0).endswith("leaves may overlap the next plant")
    assert cell_facts(cell | {"weight_g": 61.23}, clearance_mm=None).endswith("40 mm wide, about 61.2 g")
    small = cell | {"area_mm2": 42.0, "area_low_mm2": 38.2, "area_high_mm2": np.nan}
    assert cell_facts(small, clearance_mm=None).startswith("Leaf area 42 mm², ")


def test_an_empty_cell_has_no_facts(reading):
    assert cell_facts(reading.cells.iloc[3].to_dict(), clearance_mm=float("nan")) == ""


def test_facts_of_a_tray_leave_out_what_is_unknown(reading):
    assert tray_facts(reading.trays.iloc[0]) == [("Living plants", "5 of 6 cells (83 %)")]
