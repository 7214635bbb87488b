"""Things laid over a drawn tray: told where they hide its pattern, silent otherwise."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from canopy.measure.area import measure_cells
from canopy.measure.covered import covered_remarks, covered_share, mark_covered
from canopy.reasons import REASONS
from canopy.settings import MeasureSettings
from canopy.settings.light import CoveredSettings

from .drawing import UNKNOWN_HEIGHT
from .test_gainfield import LAYOUT, PLANTS, tray

SETTINGS = CoveredSettings()
SKIN = (207, 150, 112)


def laid_over(colour, x_mm, y_mm, width_mm, height_mm):
    """A rectangle of one colour over the tray; it hides plants too."""
    rectified, segmentation = tray()
    (x0, y0), (x1, y1) = np.round(
        rectified.to_px(np.array([(x_mm, y_mm), (x_mm + width_mm, y_mm + height_mm)]))
    ).astype(int)
    here = np.s_[y0:y1, x0:x1]
    rgb, cover, owner = rectified.rgb.copy(), segmentation.cover.copy(), segmentation.owner.copy()
    rgb[here], cover[here], owner[here] = colour, 0, 0
    return replace(rectified, rgb=rgb), replace(segmentation, cover=cover, owner=owner)


def share(rectified, segmentation, **settings):
    chosen = CoveredSettings(**settings)
    return covered_share(rectified, segmentation, LAYOUT, field=None, settings=chosen)


@pytest.mark.parametrize("colour", [SKIN, (47, 111, 192), (24, 24, 26), (240, 240, 240)])
def test_cells_under_a_hand_or_a_sheet_are_told(colour):
    # From the middle of C3 to the middle of E5, 80 by 88 mm: nine cells, C3 to E5.
    centres = LAYOUT.centres_mm().reshape(6, 9, 2)
    (x, y), (x1, y1) = centres[2, 2], centres[4, 4]
    got = share(*laid_over(colour, x, y, x1 - x, y1 - y)).reshape(6, 9)
    assert (got[2:5, 2:5] >= SETTINGS.cell_share_min).all()
    away = np.ones((6, 9), bool)
    away[1:6, 1:6] = False
    assert (got[away] == 0).all()
    assert got[3, 3] > 0.5  # the middle cell is wholly under it, plants drawn there or not


def test_plain_tray_has_nothing_over_it():
    assert (share(*tray()) == 0).all()
    assert (share(*tray(media=lambda cell: np.where(cell[:, 0] < 5, 1.0, 2.0))) == 0).all()
    assert (share(*laid_over(SKIN, 100, 100, 80, 88), enabled=False) == 0).all()


def test_one_odd_medium_is_no_thing_over_it():
    # One cell filled with pale medium: its rims look as all others.
    centre = LAYOUT.centres_mm()[31]
    assert (share(*laid_over((200, 190, 180), *(centre - 13), 26, 26)) == 0).all()


def test_cells_are_marked_and_named():
    rectified, segmentation = laid_over(SKIN, *LAYOUT.centres_mm()[0], 80, 88)
    cells = measure_cells(
        rectified, segmentation, LAYOUT, height=UNKNOWN_HEIGHT, stage="seedling", settings=MeasureSettings()
    )
    part = share(rectified, segmentation)
    marked = mark_covered(cells, part, settings=SETTINGS)
    under = marked["reason"].str.startswith("covered: something lies over").fillna(False)
    assert list(marked["cell"][under]) == list(cells["cell"][part >= SETTINGS.cell_share_min])
    assert "B2" in set(marked["cell"][under])
    assert REASONS["covered"].blocks  # so that the cell is to be inspected
    # B2 is wholly hidden: neither planted nor empty.
    assert pd.isna(marked.loc[marked["cell"] == "B2", "state"].iloc[0])
    pd.testing.assert_frame_equal(marked[~under], cells[~under])
    (remark,) = covered_remarks(marked)
    assert remark.code == "covered"
    assert "B2" in remark.text
    assert covered_remarks(cells) == ()
    assert mark_covered(cells, np.zeros(LAYOUT.cells), settings=SETTINGS) is cells
    assert "B2" in PLANTS
