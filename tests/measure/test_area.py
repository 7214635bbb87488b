from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from canopy.measure import CELL_COLUMNS, measure_cells
from canopy.records import Height
from canopy.settings.measure import AreaSettings, MeasureSettings

from .drawing import BROWN, RED_LEAF, UNKNOWN_HEIGHT, YELLOW, disc, draw, layout_of

# Medium at the rim, so that a canopy of height 0 lies flat in the rim plane and needs no correction.
SETTINGS = MeasureSettings(
    area=AreaSettings(
        medium_below_rim_mm=0.0,
        leaf_level=0.6,
        height_exponent=0.5,
        boundary_sd_px=0.2,
        area_floor_rel_sd=0.01,
        side_bare_mm=0.0,
        side_from=0.0,
    )
)
DTYPES = [column.dtype for column in CELL_COLUMNS]


def measured(layout, plants, *, height=UNKNOWN_HEIGHT, stage="seedling", settings=SETTINGS, **drawing):
    rectified, segmentation = draw(layout, plants, **drawing)
    table = measure_cells(rectified, segmentation, layout, height=height, stage=stage, settings=settings)
    return table.set_index("cell", drop=False)


@pytest.mark.parametrize("mm_per_px", [0.2, 0.5, 1.0])
@pytest.mark.parametrize("radius_mm", [3.0, 11.0, 18.0])
def test_area_of_discs_at_any_scale(mm_per_px, radius_mm):
    layout = layout_of()
    cells = measured(layout, {"B4": disc(radius_mm, 1.3, -0.7)}, mm_per_px=mm_per_px)
    # Each edge pixel's share is sampled 8 × 8: it errs by 1/16 at most and the signs cancel, 1 % of the smallest disc.
    assert cells.loc["B4", "area_mm2"] == pytest.approx(math.pi * radius_mm**2, rel=0.01)
    assert cells.loc["B4", "area_low_mm2"] < cells.loc["B4", "area_mm2"] < cells.loc["B4", "area_high_mm2"]
    assert cells.loc["B4", "cover"] == pytest.approx(cells.loc["B4", "area_mm2"] / (40 * 44))
    centre = layout.centres_mm()[layout.names().index("B4")] + (1.3, -0.7)
    # The centroid of a sampled disc errs by a small part of a pixel.
    np.testing.assert_allclose(cells.loc["B4", ["x_mm", "y_mm"]].astype(float), centre, atol=0.05 * mm_per_px)
    assert cells.loc["B4", "diameter_mm"] == pytest.approx(2 * radius_mm, abs=1.5 * mm_per_px)  # hull of pixels


def test_places_rows_and_names():
    layout = layout_of(3, 5)
    cells = measured(layout, {"A1": disc(8), "C5": (14, 5, 0, 0)})
    assert cells["cell"].tolist() == layout.names()
    assert (cells.loc["C5", "row"], cells.loc["C5", "col"]) == (3, 5)
    assert cells["state"].value_counts().to_dict() == {"empty": 13, "planted": 2}
    assert cells.loc["C5", "diameter_mm"] == pytest.approx(28, abs=0.75)  # 1.5 pixels
    assert cells.loc["C5", "compactness"] < 0.8 < cells.loc["A1", "compactness"]


def test_overhanging_plant_belongs_to_its_cell():
    cells = measured(layout_of(), {"B2": (34, 12, 0, 0)})
    assert cells.loc["B2", "area_mm2"] == pytest.approx(math.pi * 34 * 12, rel=0.01)
    assert cells["state"].eq("planted").sum() == 1


def test_cover_may_pass_one():
    cells = measured(layout_of(), {"B3": disc(30)}, stage="finish")
    assert cells.loc["B3", "cover"] > 1


def test_known_height_undoes_the_view():
    layout = layout_of()
    h, d, nadir = 60.0, 800.0, (100.0, 70.0)
    true_radius = 12.0
    seen = d / (d - h)
    plants = {}
    for name in ("A1", "B3", "C5"):
        centre = layout.centres_mm()[layout.names().index(name)]
        shift = (seen - 1) * (centre - nadir)  # similarity about the point below the lens
        plants[name] = disc(true_radius * seen, *shift)
    height = Height(100.0, "typed", d, "typed", nadir)  # leaves at 0.6 of the top; equal plants, so 60 mm each
    cells = measured(layout, plants, height=height, mm_per_px=0.25)
    for name in plants:
        row = cells.loc[name]
        centre = layout.centres_mm()[layout.names().index(name)]
        assert row["height_mm"] == pytest.approx(h, rel=0.002)  # sizes differ by sampling only
        assert row["area_mm2"] == pytest.approx(math.pi * true_radius**2, rel=0.003)
        assert row["area_seen_mm2"] == pytest.approx(math.pi * (true_radius * seen) ** 2, rel=0.003)
        assert row["diameter_mm"] == pytest.approx(2 * true_radius, abs=0.4)
        np.testing.assert_allclose(row[["x_mm", "y_mm"]].astype(float), centre, atol=0.03)


def test_side_of_a_tall_plant_comes_off_its_area_but_does_not_move_it():
    # A closed cylinder 12 mm wide and 40 mm tall, leaves at 24 mm, lens at 800 mm: seen 0.97 times as large as drawn.
    # The drawn ellipse holds what its top and wall show, π/4·12² + 12 · 40 · tan θ, with tan θ = 80/800 at its middle.
    layout, d, scale = layout_of(), 800.0, 1 - 24 / 800
    centre = layout.centres_mm()[layout.names().index("B3")]
    slant_mm2 = math.pi / 4 * 12**2 + 12 * 40 * 0.1
    half_mm = math.sqrt(slant_mm2 / math.pi) / scale
    height = Height(40.0, "typed", d, "typed", (centre[0] - 80, centre[1]), 1.0)
    row = measured(layout, {"B3": disc(half_mm)}, height=height, mm_per_px=0.2).loc["B3"]
    assert row["area_mm2"] == pytest.approx(math.pi / 4 * 12**2, rel=0.005)  # edge pixels sampled 8 × 8
    assert row["x_mm"] == pytest.approx(centre[0] - 80 + 80 * scale, abs=0.03)
    rosette = replace(height, tiered=0.0)
    assert measured(layout, {"B3": disc(half_mm)}, height=rosette, mm_per_px=0.2).loc[
        "B3", "area_mm2"
    ] == pytest.approx(slant_mm2, rel=0.005)


def test_unknown_height_widens_downwards_only_where_leaves_may_stand():
    plants = {"B3": disc(15)}
    unknown = measured(layout_of(), plants, stage="finish").loc["B3"]
    known = measured(
        layout_of(), plants, stage="finish", height=Height(0.0, "typed", 900.0, "typed", (0, 0))
    ).loc["B3"]  # fmt: skip
    assert unknown["area_mm2"] == known["area_mm2"]
    assert unknown["area_low_mm2"] < known["area_low_mm2"]
    assert unknown["area_low_mm2"] > 0
    assert pd.isna(unknown["height_mm"])


def test_range_by_hand():
    # Heights known and flat, no doubt, no dispute: sd² = (0.2 px · 0.5 mm · outline/area)² + 0.01².
    layout = layout_of()
    rectified, segmentation = draw(layout, {"B3": disc(15)})
    segmentation = replace(segmentation, doubt=np.zeros_like(segmentation.doubt))
    flat = Height(0.0, "typed", 900.0, "typed", (0, 0))
    row = measure_cells(rectified, segmentation, layout, height=flat, stage="seedling", settings=SETTINGS).iloc[7]
    sd = math.hypot(0.2 * 0.5 * 2 / 15, 0.01)  # outline/area of a disc is 2/r
    assert row["area_rel_sd"] == pytest.approx(sd, rel=0.04)  # digital outline, 5 %
    assert row["area_high_mm2"] == pytest.approx(row["area_mm2"] * math.exp(1.959964 * row["area_rel_sd"]), rel=1e-6)
    assert row["area_low_mm2"] == pytest.approx(row["area_mm2"] * math.exp(-1.959964 * row["area_rel_sd"]), rel=1e-6)


def test_dispute_and_doubt_widen_the_range():
    layout = layout_of()
    rectified, segmentation = draw(layout, {"B3": disc(15)})
    disputed = np.zeros(layout.cells)
    disputed[7] = 0.5

    def width(changed):
        row = measure_cells(rectified, changed, layout, height=UNKNOWN_HEIGHT, stage="", settings=SETTINGS).iloc[7]
        return row["area_high_mm2"] - row["area_low_mm2"]

    calm = replace(segmentation, doubt=np.zeros_like(segmentation.doubt))
    assert width(calm) < width(segmentation) < width(replace(segmentation, disputed=disputed))


def test_small_plants_have_wide_ranges():
    flat = Height(0.0, "typed", 900.0, "typed", (0, 0))
    cells = measured(layout_of(), {"A2": disc(3), "C4": disc(16)}, height=flat)
    assert cells.loc["A2", "area_rel_sd"] > 3 * cells.loc["C4", "area_rel_sd"]  # outline/area goes with 1/r


@pytest.mark.parametrize(
    ("plants", "colours", "stage", "reason"),
    [
        ({}, {}, "seedling", "no canopy seen"),
        ({"B3": disc(0.6)}, {}, "seedling", "only 1.1 mm² of canopy seen, a plant has at least 2 mm²"),
        ({"B3": disc(3)}, {}, "finish", "only 28.3 mm² of canopy seen, a plant has at least 50 mm²"),
        ({"B3": disc(12)}, {"B3": BROWN}, "seedling", "plant looks dead: 100 % of it is brown"),
        ({"B3": disc(6, 38, 0)}, {}, "seedling", "canopy seen only outside the cell"),
    ],
)
def test_why_a_cell_is_empty(plants, colours, stage, reason):
    cells = measured(layout_of(), plants, colours=colours, stage=stage, mm_per_px=0.2)
    row = cells.loc["B3"]
    assert row["state"] == "empty"
    # The area in the text has one decimal; drawn discs err by less than 0.05 mm² here.
    assert row["reason"] == reason
    measures = [column.name for column in CELL_COLUMNS if column.dtype == "float64"]
    assert row[measures].isna().all()


@pytest.mark.parametrize("colour", [YELLOW, RED_LEAF])
def test_yellow_and_red_plants_live(colour):
    assert measured(layout_of(), {"B3": disc(12)}, colours={"B3": colour}).loc["B3", "state"] == "planted"


def test_cell_out_of_the_photo_is_neither_planted_nor_empty():
    layout = layout_of()
    rectified, segmentation = draw(layout, {"B3": disc(12)})
    inside = rectified.inside.copy()
    inside[:, 400:] = False  # x above 185 mm: column 5 starts at 165 mm
    table = measure_cells(
        replace(rectified, inside=inside), segmentation, layout, height=UNKNOWN_HEIGHT, stage="", settings=SETTINGS
    )  # fmt: skip
    hidden = table[table["col"] == 5]
    assert hidden["state"].isna().all()
    assert hidden["reason"].eq("the photo does not show the whole cell").all()
    assert table[table["col"] < 5]["state"].notna().all()


@pytest.mark.parametrize("plants", [{}, {"B3": disc(12)}, {n: disc(14) for n in layout_of().names()}])
def test_same_columns_and_types_whatever_grows(plants):
    table = measured(layout_of(), plants)
    assert table.columns.tolist() == [column.name for column in CELL_COLUMNS]
    assert [str(dtype) for dtype in table.dtypes] == DTYPES
    assert len(table) == 15


def test_what_later_steps_fill_is_missing():
    table = measured(layout_of(), {"B3": disc(12)})
    later = ["photo", "tray", "taken_at", "das", "weight_g", "weight_low_g", "weight_high_g", "readiness", "decision"]
    assert table[later].isna().all(axis=None)
    assert table.loc["B3", ["reason"]].isna().all()


def test_inputs_stay_and_results_repeat():
    layout = layout_of()
    rectified, segmentation = draw(layout, {"B3": disc(12), "B4": disc(25)})
    arrays = [rectified.rgb, rectified.inside, segmentation.cover, segmentation.owner, segmentation.doubt]
    arrays += [segmentation.contact, segmentation.disputed]
    before = [array.copy() for array in arrays]
    for array in arrays:
        array.setflags(write=False)
    first, second = (
        measure_cells(rectified, segmentation, layout, height=UNKNOWN_HEIGHT, stage="", settings=SETTINGS)
        for _ in range(2)
    )
    pd.testing.assert_frame_equal(first, second, check_exact=True)
    for array, old in zip(arrays, before, strict=True):
        np.testing.assert_array_equal(array, old)


def test_rasters_must_fit():
    layout = layout_of()
    rectified, segmentation = draw(layout, {})
    cut = replace(segmentation, doubt=segmentation.doubt[:-1])
    with pytest.raises(ValueError, match=r"segmentation\.doubt: shape"):
        measure_cells(rectified, cut, layout, height=UNKNOWN_HEIGHT, stage="", settings=SETTINGS)


def test_contact_must_fit_the_layout():
    layout = layout_of()
    rectified, segmentation = draw(layout, {})
    with pytest.raises(ValueError, match=r"segmentation\.contact: shape \(15,\), but layout drawn has 12 cells"):
        measure_cells(rectified, segmentation, layout_of(3, 4), height=UNKNOWN_HEIGHT, stage="", settings=SETTINGS)


def test_owner_must_fit_the_layout():
    layout = layout_of()
    rectified, segmentation = draw(layout, {"C5": disc(10)})
    with pytest.raises(ValueError, match="owner 15 but the layout has 12 cells"):
        measure_cells(
            rectified,
            replace(segmentation, contact=np.zeros(12), disputed=np.zeros(12)),
            layout_of(3, 4),
            height=UNKNOWN_HEIGHT,
            stage="",
            settings=SETTINGS,
        )
