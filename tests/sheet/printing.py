"""A print of the sheet seen through a camera: drawn by PDFium, a card laid on it, a pinhole camera over both."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pypdfium2 as pdfium

from canopy.photo import Photo
from canopy.settings import Settings
from canopy.sheet import draw_sheet, plan_for
from canopy.words import words_in

PX_PER_MM = 8.0
CARD_MM = (85.60, 53.98)  # ISO/IEC 7810 ID-1
THICK_MM = 0.76  # of the same standard
HEIGHT_MM = 420.0
WIDTH_PX = 1500


def sheet_pdf(paper="a4", trays=(), language="en"):
    return draw_sheet(plan_for(paper), trays, words=words_in(language), settings=Settings().sheet)


def page_picture(pdf, page=0, *, px_per_mm=PX_PER_MM):
    """RGB of one page, `px_per_mm` pixels a millimetre as the PDF means it."""
    document = pdfium.PdfDocument(pdf)
    try:
        return np.array(document[page].render(scale=px_per_mm * 25.4 / 72).to_pil().convert("RGB"))
    finally:
        document.close()


@cache
def _page(paper):
    return page_picture(sheet_pdf(paper))


class Camera:
    """A pinhole over the middle of the page, a little turned and tilted; millimetres of the table, z towards it."""

    def __init__(self, size_mm, *, tilt_deg=3.0, turn_deg=2.0):
        self.width, self.height = WIDTH_PX, round(WIDTH_PX * size_mm[1] / size_mm[0])
        self.focal = 0.9 * WIDTH_PX * HEIGHT_MM / size_mm[0]
        turn = cv2.Rodrigues(np.radians([tilt_deg, 0.6 * tilt_deg, turn_deg]))[0]
        self.matrix = np.array(
            [[self.focal, 0, self.width / 2 - 0.5], [0, self.focal, self.height / 2 - 0.5], [0, 0, 1.0]]
        )
        self.rotation, self.lens = turn, np.array([size_mm[0] / 2, size_mm[1] / 2, -HEIGHT_MM])

    def project(self, points_mm, *, above_mm=0.0):
        points = np.column_stack([points_mm, np.full(len(points_mm), -above_mm)]) - self.lens
        seen = points @ (self.matrix @ self.rotation).T
        return seen[:, :2] / seen[:, 2:]


def photo_of_print(paper="a4", *, across=1.0, down=1.0, card=(70, 90, 120), aslant_deg=0.0, aside_mm=(0, 0), light=1.0):
    """A print at some scale on a grey table, with a true card lying on its field (None: without)."""
    page, plan = _page(paper), plan_for(paper)
    scale = np.array([across, down])
    size_mm = np.array(plan.size_mm) * scale
    camera = Camera(plan.size_mm)
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
    on_page = unit * np.array(page.shape[1::-1]) - 0.5
    matrix = cv2.getPerspectiveTransform(np.float32(on_page), np.float32(camera.project(unit * size_mm)))
    # Twice as large, then averaged, so that fine squares do not fold over.
    double = np.diag([2.0, 2.0, 1.0]) @ [[1, 0, 0.25], [0, 1, 0.25], [0, 0, 1]] @ matrix
    big = (2 * camera.width, 2 * camera.height)
    seen = cv2.warpPerspective(page, double, big, borderMode=cv2.BORDER_CONSTANT, borderValue=(120, 110, 100))
    picture = cv2.resize(seen, (camera.width, camera.height), interpolation=cv2.INTER_AREA).astype(np.float32)
    if card is not None:
        middle = (np.array(plan.real_card_mm) + np.array(CARD_MM) / 2) * scale + aside_mm
        box = cv2.boxPoints((middle.tolist(), CARD_MM, aslant_deg)).astype(float)
        share = _covered(camera.project(box, above_mm=THICK_MM), camera)[..., None]
        picture += share * (np.float32(card) - picture)
    coloured = 255 * ((picture / 255) ** 2.2 * np.float32(light)) ** np.float32(1 / 2.2)
    noise = np.random.default_rng(7).normal(0, 1.5, picture.shape[:2])[..., None]
    rgb = np.clip(coloured + noise, 0, 255).round().astype(np.uint8)
    return Photo("sheet.jpg", rgb, 1, camera.width, camera.height, None, "", camera.focal)


def _covered(corners_px, camera):
    """Share of each pixel inside a quadrangle, by an eightfold raster of the part round it."""
    low = np.floor(corners_px.min(axis=0)).astype(int) - 1
    size = np.ceil(corners_px.max(axis=0)).astype(int) + 2 - low
    fine = np.zeros((8 * size[1], 8 * size[0]), np.uint8)
    cv2.fillPoly(fine, [np.round((corners_px - low + 0.5) * 8 - 0.5).astype(np.int32)], 255)
    share = np.zeros((camera.height, camera.width), np.float32)
    share[low[1] : low[1] + size[1], low[0] : low[0] + size[0]] = (
        cv2.resize(fine, (int(size[0]), int(size[1])), interpolation=cv2.INTER_AREA) / 255
    )
    return share
