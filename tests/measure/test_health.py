from __future__ import annotations

import numpy as np
import pytest

from canopy.measure import measure_cells
from canopy.measure.health import colour_sample, plant_texture
from canopy.measure.pixels import plant_pixels
from canopy.measure.shape import label_raster
from canopy.settings import MeasureSettings
from canopy.settings.measure import ColourSettings
from canopy.tray.rectify import Rectified

from .drawing import BROWN, LEAF, RED_LEAF, SOIL, UNKNOWN_HEIGHT, YELLOW, disc, draw, layout_of

SETTINGS = MeasureSettings()


def measured(plants, *, paint=None, mm_per_px=0.5, **colours):
    layout = layout_of()
    rectified, segmentation = draw(layout, plants, colours=colours, mm_per_px=mm_per_px)
    if paint:
        paint(rectified.rgb, segmentation.owner)
    table = measure_cells(rectified, segmentation, layout, height=UNKNOWN_HEIGHT, stage="", settings=SETTINGS)
    return table.set_index("cell")


def test_colours_of_even_plants():
    cells = measured({"A1": disc(12), "B3": disc(12), "C4": disc(12)}, A1=LEAF, B3=YELLOW, C4=RED_LEAF)
    # Worked values of these colours (see test_indices, test_colour); even plants, so median = mean = value.
    expected = {
        "exg": (0.63636, 0.26667, -0.34783),
        "ngrdi": (0.33333, -0.02564, -0.375),
        "gli": (0.41176, 0.1875, -0.28571),
        "dgci": (0.53758, np.nan, np.nan),  # 55.7° and 340° lie outside its hues
        "hue_deg": (133.83, 100.15, 0.59),
        "l_star": (45.01, 75.72, 29.51),
        "a_star": (-35.38, -11.36, 28.97),
        "b_star": (36.85, 63.47, 0.30),
        "yellow_fraction": (0, 1, 0),
        "brown_fraction": (0, 0, 0),
    }
    for column, values in expected.items():
        tolerance = 0.05 if column.endswith(("star", "deg")) else 6e-6  # printed digits
        np.testing.assert_allclose(cells.loc[["A1", "B3", "C4"], column], values, atol=tolerance, err_msg=column)
    assert (cells.loc[["A1", "B3", "C4"], "texture"].abs() < 1e-6).all()  # even colour; difference of squares


def test_hue_is_averaged_round_the_circle():
    def paint(rgb, owner):
        y, x = np.nonzero(owner == 8)
        even = (x + y) % 2 == 0
        rgb[y[even], x[even]] = (150, 50, 90)  # CIELAB hue about 0° from either side
        rgb[y[~even], x[~even]] = (150, 50, 40)

    hue = measured({"B3": disc(12)}, paint=paint).loc["B3", "hue_deg"]
    assert hue < 40 or hue > 350  # a plain mean of 4° and 30° or of 356° and 30° would differ


@pytest.mark.parametrize(("column", "colour"), [("yellow_fraction", YELLOW), ("brown_fraction", BROWN)])
def test_fractions_of_a_half_painted_plant(column, colour):
    def paint(rgb, owner):
        y, x = np.nonzero(owner == 8)
        split = np.median(x)
        rgb[y[x < split], x[x < split]] = colour

    cells = measured({"B3": disc(15)}, paint=paint)
    assert cells.loc["B3", column] == pytest.approx(0.5, abs=0.03)  # one of 60 pixel columns lies on the split
    assert cells.loc["B3", "state"] == "planted"


def test_edge_pixels_do_not_count():
    def paint(rgb, owner):
        rgb[owner == 0] = SOIL

    layout = layout_of()
    rectified, segmentation = draw(layout, {"B3": disc(12)}, colours={"B3": LEAF})
    edge = (segmentation.cover > 0) & (segmentation.cover < 0.95)
    rectified.rgb[edge] = BROWN
    table = measure_cells(rectified, segmentation, layout, height=UNKNOWN_HEIGHT, stage="", settings=SETTINGS)
    assert table.loc[7, "brown_fraction"] == 0
    assert table.loc[7, "l_star"] == pytest.approx(45.01, abs=0.02)


def test_tiny_plants_still_have_a_colour():
    cells = measured({"B3": disc(1.5)}, B3=LEAF, mm_per_px=0.5)  # 28 pixels
    assert cells.loc["B3", "ngrdi"] == pytest.approx(1 / 3, abs=0.02)


def test_sample_is_even_grouped_and_bounded():
    _, segmentation = draw(layout_of(), {"A1": disc(2), "B3": disc(19), "C5": disc(14)}, mm_per_px=0.2)
    pixels = plant_pixels(segmentation, cells=15, mm_per_px=0.2)
    settings = ColourSettings(pixels_per_tray=3000)
    chosen, bounds = colour_sample(pixels, settings=settings)
    counts = np.diff(bounds)
    assert (counts[[0, 7, 14]] > [200, 800, 800]).all()  # 3000 px for 3 plants; the small one has 314 px in all
    assert counts.sum() <= 3000
    assert (counts[[1, 2, 3]] == 0).all()
    for c in (0, 7, 14):
        own = chosen[bounds[c] : bounds[c + 1]]
        assert (own >= pixels.bounds[c]).all()
        assert (own < pixels.bounds[c + 1]).all()
        assert (pixels.cover[own] >= 0.95).all()


def stripes(mm_per_px):
    """Plant with stripes 2 mm wide, light and dark by turns."""
    layout = layout_of()
    rectified, segmentation = draw(layout, {"B3": disc(18)}, mm_per_px=mm_per_px)
    x_mm = rectified.x0_mm + np.arange(rectified.rgb.shape[1]) * mm_per_px
    rgb = np.where((x_mm // 2 % 2 == 0)[None, :, None], np.uint8(160), np.uint8(80))
    rgb = np.repeat(np.broadcast_to(rgb, (*rectified.inside.shape, 1)), 3, axis=2).copy()
    pixels = plant_pixels(segmentation, cells=15, mm_per_px=mm_per_px)
    labels = label_raster(pixels, segmentation.cover.shape)
    striped = Rectified(rgb, rectified.inside, mm_per_px, rectified.x0_mm, rectified.y0_mm)
    return plant_texture(striped, labels, cells=15, settings=SETTINGS.colour)[7]


def test_texture_does_not_depend_on_scale():
    # L* of grey 160 and 80 are 65.9 and 34.0; a 3 mm window holds 2 mm of one and 1 mm of the other: sd = 31.9·√2/3.
    expected = 31.9 * 2**0.5 / 3
    for mm_per_px in (0.25, 0.5, 1.0):
        assert stripes(mm_per_px) == pytest.approx(expected, rel=0.15)  # stripe edges fall inside grid steps


def test_no_texture_on_coarse_photos():
    assert np.isnan(stripes(2.0))
