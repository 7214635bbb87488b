"""Pages of tray labels: the tray's id as QR code and in large letters."""

from __future__ import annotations

from collections.abc import Sequence

import segno
from fpdf import FPDF

from canopy.errors import UsageError
from canopy.settings.sheet import SheetSettings
from canopy.sheet.plan import MARGIN_MM
from canopy.sheet.strokes import FONT, add_modules, dashed_box, printable

_PAD_MM = 3.0
_LARGEST_PT, _SMALLEST_PT = 34.0, 8.0
_QUIET = 4
"""Modules of white that a QR code needs on every side (ISO/IEC 18004, from memory)."""


def add_labels(pdf: FPDF, trays: Sequence[str], *, page_mm: tuple[float, float], settings: SheetSettings) -> None:
    """Add pages with a label for each tray, row by row.

    Raises
    ------
    UsageError
        A label is larger than the page, or an id is too long for a code.
    """
    size = (settings.label_width_mm, settings.label_height_mm)
    columns, rows = (int((side - 2 * MARGIN_MM) // own) for side, own in zip(page_mm, size, strict=True))
    if columns < 1 or rows < 1:
        raise UsageError(f"`sheet.label_width_mm`, `sheet.label_height_mm`: {size[0]:g} × {size[1]:g} is over the page")
    left = (page_mm[0] - columns * size[0]) / 2
    for number, tray in enumerate(trays):
        row, column = divmod(number % (columns * rows), columns)
        if row == column == 0:
            pdf.add_page()
        _add_label(pdf, tray, (left + column * size[0], MARGIN_MM + row * size[1]), size)


def _add_label(pdf: FPDF, tray: str, at_mm: tuple[float, float], size_mm: tuple[float, float]) -> None:
    dashed_box(pdf, at_mm=at_mm, size_mm=size_mm)
    code_mm = min(size_mm[1], size_mm[0] / 2) - 2 * _PAD_MM
    _add_code(pdf, tray, (at_mm[0] + _PAD_MM, at_mm[1] + (size_mm[1] - code_mm) / 2), code_mm)
    _add_name(pdf, tray, at_mm[0] + code_mm + 2 * _PAD_MM, at_mm[1], size_mm[0] - code_mm - 3 * _PAD_MM, size_mm[1])


def _add_code(pdf: FPDF, tray: str, at_mm: tuple[float, float], side_mm: float) -> None:
    """The id as QR code, `side_mm` with its quiet zone."""
    try:
        code = segno.make(tray, error="m", micro=False, boost_error=False, encoding=None if tray.isascii() else "utf-8")
    except segno.DataOverflowError:
        raise UsageError(f"tray {tray[:20]}…: its id is too long for a label; shorten it") from None
    rows = [[bool(module) for module in row] for row in code.matrix]
    module = side_mm / (len(rows) + 2 * _QUIET)
    add_modules(pdf, rows, at_mm=(at_mm[0] + _QUIET * module, at_mm[1] + _QUIET * module), module_mm=module)


def _add_name(pdf: FPDF, tray: str, x: float, y: float, width: float, height: float) -> None:
    """The id in letters as large as the label allows, cut short when even small ones do not fit: the code holds it."""
    text = printable(tray)
    pdf.set_font(FONT, "B", _LARGEST_PT)
    fitting = _LARGEST_PT * width / max(pdf.get_string_width(text), width)
    pdf.set_font(FONT, "B", max(_SMALLEST_PT, fitting))
    while pdf.get_string_width(text) > 1.001 * width:  # the library rounds sizes
        text = text[:-1]
    pdf.set_text_color(0)
    pdf.set_xy(x, y)
    pdf.cell(width, height, text, align="C")
