"""The sheet as printed: every size read back from the PDF's own drawing, every code from its picture."""

from __future__ import annotations

import ctypes

import cv2
import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as pdfium_c
import pytest

from canopy.errors import UsageError
from canopy.measure.card import card_correction, patch_colours
from canopy.measure.colour import ciede2000, linear_to_lab, srgb_to_lab
from canopy.records import Markers, TrayRecord
from canopy.settings import Settings
from canopy.settings.light import LightSettings
from canopy.sheet import plan_for
from canopy.sheet.plan import COLOUR_CARD
from canopy.tray import locate_tray

from .printing import page_picture, photo_of_print, sheet_pdf

PAPERS = {"a4": (210.0, 297.0), "letter": (8.5 * 25.4, 11 * 25.4)}  # ISO 216; 8.5 by 11 inches
BOTH = pytest.mark.parametrize("paper", list(PAPERS))
SETTINGS = Settings()
# Numbers in a PDF are written with two decimals of a point: 0.0035 mm, at both ends.
EXACT = 0.008


def _drawn(pdf, page=0):
    """(n, 4) left, top, right, bottom in mm from the page's upper left corner, and (n, 3) fill, of every path."""
    document = pdfium.PdfDocument(pdf)
    height = document[page].get_height()
    boxes, fills = [], []
    for item in document[page].get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_PATH]):
        left, bottom, right, top = item.get_bounds()
        channels = [ctypes.c_uint() for _ in range(4)]
        pdfium_c.FPDFPageObj_GetFillColor(item.raw, *channels)
        boxes.append(np.array([left, height - top, right, height - bottom]) * 25.4 / 72)
        fills.append([channel.value for channel in channels[:3]])
    size = tuple(side * 25.4 / 72 for side in document[page].get_size())
    document.close()
    return size, np.array(boxes), np.array(fills)


@pytest.fixture(scope="module", params=list(PAPERS))
def sheet(request):
    return request.param, *_drawn(sheet_pdf(request.param))


def _within(boxes, left, top, right, bottom):
    return (boxes[:, 0] >= left) & (boxes[:, 1] >= top) & (boxes[:, 2] <= right) & (boxes[:, 3] <= bottom)


def test_the_page_has_the_size_of_the_paper(sheet):
    paper, size, _, _ = sheet
    assert size == pytest.approx(PAPERS[paper], abs=EXACT)


def test_markers_are_as_large_and_lie_as_the_tray_list_says_by_default(sheet):
    _, (width, height), boxes, fills = sheet
    black = boxes[(fills == 0).all(axis=1)]
    squares = [
        black[_within(black, x, y, x + 34, y + 34)]
        for x, y in [(8, 8), (width - 42, 8), (width - 42, height - 42), (8, height - 42)]
    ]
    whole = np.array([[*square[:, :2].min(axis=0), *square[:, 2:].max(axis=0)] for square in squares])
    sides = whole[:, 2:] - whole[:, :2]
    np.testing.assert_allclose(sides, Markers().side_mm, atol=2 * EXACT)
    assert Markers().side_mm == 20
    centres = (whole[:, :2] + whole[:, 2:]) / 2
    # A card of 30 mm, 12 mm from the rim; its corner nearest the middle is the tray's corner, 15 mm from the centre.
    np.testing.assert_allclose(centres[0], (27, 27), atol=EXACT)
    np.testing.assert_allclose(centres[2], (width - 27, height - 27), atol=2 * EXACT)
    modules = np.unique(np.round(np.concatenate([square[:, 3] - square[:, 1] for square in squares]), 2))
    np.testing.assert_allclose(modules, 20 / 6, atol=2 * EXACT)


def test_rulers_have_a_mark_at_every_millimetre(sheet):
    _, _, boxes, _ = sheet
    width, height = boxes[:, 2] - boxes[:, 0], boxes[:, 3] - boxes[:, 1]
    # Lines of 0.15 mm: a mark is that wide and 2 to 5 mm long.
    upright = boxes[(width < 0.4) & (height > 1.8) & (height < 5.5)]
    lying = boxes[(height < 0.4) & (width > 1.8) & (width < 5.5)]
    for marks, axis in ((upright, 0), (lying, 1)):
        middles = np.sort((marks[:, axis] + marks[:, axis + 2]) / 2)
        assert len(middles) == 151
        np.testing.assert_allclose(middles - middles[0], np.arange(151), atol=EXACT)
        long = marks[:, 3 - axis] - marks[:, 1 - axis] > 4.5
        np.testing.assert_allclose(np.diff(np.sort(marks[long, axis])), 10, atol=2 * EXACT)


def test_patches_have_the_colours_and_places_of_the_card(sheet):
    paper, _, boxes, fills = sheet
    plan = plan_for(paper)
    side = boxes[:, 2:] - boxes[:, :2]
    patches = (abs(side - plan.colour_card.patch_mm) < 0.1).all(axis=1)
    assert patches.sum() == 24
    middles = (boxes[patches, :2] + boxes[patches, 2:]) / 2 - plan.colour_card_mm
    np.testing.assert_allclose(middles, [(p.x_mm, p.y_mm) for p in plan.colour_card.patches], atol=EXACT)
    # Colours are whole codes: half a code is up to 0.3 of CIELAB in dark colours.
    away = ciede2000(srgb_to_lab(fills[patches]), [p.lab for p in plan.colour_card.patches])
    assert away.max() < 0.35
    greys = fills[patches][-6:]
    assert (greys == greys[:, :1]).all()
    assert (np.diff(greys[:, 0]) <= -30).all()


@BOTH
def test_nothing_overlaps_and_all_is_printable(paper):
    _, boxes, _ = _drawn(sheet_pdf(paper))
    width, height = PAPERS[paper]
    # Common printers leave 6 mm or less (common practice, no source).
    assert boxes[:, :2].min() > 6
    assert boxes[:, 2].max() < width - 6
    assert boxes[:, 3].max() < height - 6


@BOTH
def test_a_photo_of_the_sheet_gives_markers_and_card_back(paper):
    light = np.array([0.9, 0.7, 0.45])  # warm: white paper looks orange
    photo, plan = photo_of_print(paper, light=light), plan_for(paper)
    record = TrayRecord(tray="sheet", layout=plan.layout, has_markers=True)
    frame = locate_tray(photo, record, settings=SETTINGS.tray)
    assert frame.located_by == "markers"
    assert frame.residual_px < 0.5
    x, y = plan.on_tray(plan.colour_card_mm)
    here = LightSettings(card=COLOUR_CARD, card_x_mm=x, card_y_mm=y)
    fit = card_correction(photo.rgb, frame.to_px, plan.colour_card, settings=here, photo=SETTINGS.photo)
    assert fit is not None
    assert (fit.source, fit.patches) == ("card", 24)
    seen = patch_colours(photo.rgb, frame.to_px, plan.colour_card, settings=here, photo=SETTINGS.photo)
    away = ciede2000(linear_to_lab(fit(seen)), [patch.lab for patch in plan.colour_card.patches])
    # The test's camera is a power of 2.2 where sRGB has its two pieces, and adds noise; without correction it is 9.
    assert np.median(away) < 1.5
    assert np.median(ciede2000(linear_to_lab(seen), [patch.lab for patch in plan.colour_card.patches])) > 8


@BOTH
def test_labels_read_as_the_names_of_the_trays(paper):
    trays = [f"R{rack}-{place:02d}" for rack in (1, 2) for place in range(1, 8)] + ["Bandeja ñ 7", "two words; 3,5"]
    labels = _labels(sheet_pdf(paper, trays), paper)
    assert [cv2.QRCodeDetector().detectAndDecode(label)[0] for label in labels[: len(trays)]] == trays
    assert (labels[len(trays)][10:-10, 10:-10] == 255).all()


def _labels(pdf, paper):
    """Pictures of the labels, 90 mm by 40 mm, two across, as many down as fit between margins of 12 mm."""
    document = pdfium.PdfDocument(pdf)
    pages = [page_picture(pdf, number, px_per_mm=6.0) for number in range(1, len(document))]
    document.close()
    width, height = PAPERS[paper]
    places = [
        (row * 40 + 12, column * 90 + (width - 180) / 2) for row in range(int((height - 24) // 40)) for column in (0, 1)
    ]
    cuts = [(round(6 * top), round(6 * left)) for top, left in places]
    return [page[top : top + 240, left : left + 540] for page in pages for top, left in cuts]


def test_letters_without_a_glyph_stand_in_the_code():
    pdf = sheet_pdf("a4", ["тест 1"])
    assert cv2.QRCodeDetector().detectAndDecode(_labels(pdf, "a4")[0])[0] == "тест 1"


def test_the_printing_program_is_asked_not_to_scale():
    assert b"/PrintScaling /None" in sheet_pdf()


def test_the_same_sheet_is_the_same_file():
    assert sheet_pdf("a4", ["T1"]) == sheet_pdf("a4", ["T1"])


def test_what_does_not_fit_is_refused():
    with pytest.raises(UsageError, match=r"paper: no `lettre`; did you mean `letter`\? known: a4, letter"):
        plan_for("lettre")
    with pytest.raises(UsageError, match=r"marker_mm: 40 does not fit into a card of 30 mm"):
        plan_for("a4", markers=Markers(side_mm=40))
    with pytest.raises(UsageError, match=r"marker_offset_mm: cards of 80 mm leave no room on letter"):
        plan_for("letter", markers=Markers(offset_mm=40))
    with pytest.raises(UsageError, match=r"id is too long for a label"):
        sheet_pdf("a4", ["x" * 3000])
