from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial.distance import pdist
from skimage.measure import perimeter_crofton, regionprops

from canopy.measure.pixels import plant_pixels
from canopy.measure.shape import label_raster, plant_shapes
from canopy.segment.result import Segmentation

from .drawing import ellipse_cover


def segmentation_of(*covers):
    """One plant per cover image; the larger share owns a pixel."""
    stack = np.stack(covers)
    cover = stack.max(axis=0).astype(np.float32)
    owner = np.where(cover > 0, stack.argmax(axis=0) + 1, 0).astype(np.uint16)
    return Segmentation(cover, owner, np.zeros_like(cover), np.zeros(len(covers)), np.zeros(len(covers)), 1.0)


def shapes_of(*covers, mm_per_px=1.0):
    segmentation = segmentation_of(*covers)
    pixels = plant_pixels(segmentation, cells=len(covers), mm_per_px=mm_per_px)
    labels = label_raster(pixels, segmentation.cover.shape)
    return plant_shapes(labels, pixels), labels


@pytest.mark.parametrize("radius", [6.0, 15.3, 40.0])
@pytest.mark.parametrize("centre", [(61.0, 55.0), (60.4, 55.7)])
def test_disc(radius, centre):
    got, _ = shapes_of(ellipse_cover((110, 125), centre, (radius, radius)), mm_per_px=0.5)
    # Four directions see a circle 0.5 % off at worst once it is many pixels wide; a pixel's outline roughness on top.
    assert got.outline_mm[0] == pytest.approx(2 * math.pi * radius * 0.5, rel=0.05)
    assert got.diameter_mm[0] == pytest.approx(radius, abs=0.3)  # 2 r · 0.5 mm; half a pixel, 0.25 mm, and the widening
    assert got.compactness[0] == pytest.approx(1, abs=0.1)  # twice the error of the outline
    assert got.solidity[0] == pytest.approx(1, abs=0.02)  # hull within 0.1 px of the disc: 2·0.1/r for r = 6 is 3 %


def test_ellipse():
    got, _ = shapes_of(ellipse_cover((90, 150), (75.2, 44.6), (60, 20)))
    assert got.diameter_mm[0] == pytest.approx(120, abs=1)  # a pixel
    # Ramanujan's perimeter of an ellipse with half axes 60 and 20; 3 % for the digital outline.
    h = (40 / 80) ** 2
    perimeter = math.pi * 80 * (1 + 3 * h / (10 + math.sqrt(4 - 3 * h)))
    assert got.outline_mm[0] == pytest.approx(perimeter, rel=0.03)
    assert got.compactness[0] == pytest.approx(4 * math.pi * math.pi * 60 * 20 / perimeter**2, rel=0.06)


def drawn_blobs():
    """A cross, a ragged star and a pair of touching ellipses, hard-edged."""
    shape = (80, 260)
    y, x = np.indices(shape)
    cross = ((abs(x - 40) < 6) & (abs(y - 40) < 30)) | ((abs(y - 40) < 6) & (abs(x - 40) < 30))
    angle, reach = np.arctan2(y - 40, x - 120), np.hypot(x - 120, y - 40)
    star = reach < 20 + 9 * np.cos(5 * angle)
    left = ellipse_cover(shape, (185, 40), (22, 14)) >= 0.5
    right = (ellipse_cover(shape, (222, 42), (24, 20)) >= 0.5) & ~left
    return [blob.astype(float) for blob in (cross, star, left, right)]


def test_against_regionprops():
    got, labels = shapes_of(*drawn_blobs())
    for region in regionprops(labels):
        c = region.label - 1
        # The same formula on the plant alone; 1e-9 for summation order.
        assert got.outline_mm[c] == pytest.approx(perimeter_crofton(region.image, directions=4), rel=1e-9)
        # Centre to centre of the farthest pixels, and a quarter of a pixel more at each end.
        assert got.diameter_mm[c] == pytest.approx(pdist(region.coords).max() + 0.5, rel=1e-9)
        # regionprops goes round a filled hull of whole pixels: longer, by less than a pixel at each end.
        assert region.feret_diameter_max - 2 < got.diameter_mm[c] < region.feret_diameter_max
        # regionprops fills the hull with pixels; a hull outline of 100–190 px and areas of 900–2200 px leave 3 %.
        assert got.solidity[c] == pytest.approx(region.solidity, abs=0.03)


def test_no_canopy_is_missing_and_labels_stay_16_bit():
    blank = np.zeros((30, 40))
    got, labels = shapes_of(ellipse_cover((30, 40), (20, 15), (8, 8)), blank)
    for values in (got.outline_mm, got.diameter_mm, got.compactness, got.solidity):
        assert np.isfinite(values[0])
        assert np.isnan(values[1])
    assert labels.dtype == np.uint16


def test_all_blank():
    got, _ = shapes_of(np.zeros((30, 40)))
    assert np.isnan(got.diameter_mm).all()


def test_plant_at_the_raster_border():
    got, _ = shapes_of(np.ones((12, 20)))
    assert got.solidity[0] == 1.0  # capped: the outermost pixels count for area only
