"""What the pages of the sheet are drawn of: text, black modules, dashed lines to cut along."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from fpdf import FPDF

FONT = "Helvetica"  # one of the fonts that every reader of PDF brings along
_LINE_PER_PT_MM = 0.42


def printable(text: str) -> str:
    """The text with `?` for letters that the readers' own fonts lack, and straight quotation marks."""
    plain = text.translate({0x201C: '"', 0x201D: '"', 0x2019: "'", 0x2013: "-", 0x2014: "-"})
    return plain.encode("latin-1", "replace").decode("latin-1")


def write_at(
    pdf: FPDF, text: str, *, at_mm: tuple[float, float], width_mm: float, size_pt: float, bold: bool = False
) -> None:
    """Centred lines of text from a place down, broken to a width."""
    pdf.set_font(FONT, "B" if bold else "", size_pt)
    pdf.set_text_color(0)
    pdf.set_xy(*at_mm)
    pdf.multi_cell(width_mm, _LINE_PER_PT_MM * size_pt, printable(text), align="C")


def add_modules(pdf: FPDF, rows: Sequence[Sequence[bool]], *, at_mm: tuple[float, float], module_mm: float) -> None:
    """Squares of a code, each row in pieces as long as black runs on, so that no hairline shows along it."""
    pdf.set_fill_color(0)
    for number, row in enumerate(rows):
        edges = np.flatnonzero(np.diff(np.r_[0, np.asarray(row, int), 0]))
        for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            x, y = at_mm[0] + start * module_mm, at_mm[1] + number * module_mm
            pdf.rect(x, y, (end - start) * module_mm, module_mm, style="F")


def dashed_box(pdf: FPDF, *, at_mm: tuple[float, float], size_mm: tuple[float, float]) -> None:
    """A rectangle to cut along."""
    pdf.set_draw_color(120)
    pdf.set_line_width(0.2)
    pdf.set_dash_pattern(dash=1, gap=1)
    pdf.rect(*at_mm, *size_mm)
    pdf.set_dash_pattern()
