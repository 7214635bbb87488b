"""The sheet as PDF: corner markers, rulers, the field for the check of the print, the colour card, tray labels."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
from fpdf import FPDF
from fpdf.prefs import ViewerPreferences

from canopy.measure.colour import lab_to_linear, linear_to_srgb
from canopy.settings.sheet import SheetSettings
from canopy.sheet.labels import add_labels
from canopy.sheet.plan import REAL_CARD_MM, RULER_MM, SQUARE_MM, Plan, field_squares
from canopy.sheet.strokes import add_modules, dashed_box, write_at
from canopy.tray.markers import IDS, MODULES, marker_bits, marker_places_mm
from canopy.words import Words, marked

_PLACES = (
    marked("by A1"),
    marked("by the last column of row A"),
    marked("across from marker 0"),
    marked("by the last row of column 1"),
)
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)  # the same sheet is the same file whenever it is made
_TICKS_MM = ((10, 5.0), (5, 3.5), (1, 2.0))


def draw_sheet(plan: Plan, trays: Sequence[str] = (), *, words: Words, settings: SheetSettings) -> bytes:
    """The sheet, and a label for each tray on the pages after it.

    Parameters
    ----------
    plan : Plan
    trays : sequence of str
        Ids of trays, in the order of their labels.
    words : Words
    settings : SheetSettings

    Returns
    -------
    bytes
        PDF in true size; it asks the printing program not to scale. The same arguments give the same bytes.
    """
    pdf = FPDF(unit="mm", format=plan.size_mm)
    pdf.set_creation_date(_EPOCH)
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
    pdf.set_title(words.gettext("Markers, ruler and colour card"))
    pdf.set_lang(words.language)
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.c_margin = 0
    pdf.add_page()
    _add_markers(pdf, plan, words)
    _add_heading(pdf, plan, words)
    _add_rulers(pdf, plan)
    _add_field(pdf, plan, words)
    _add_colour_card(pdf, plan, words)
    if trays:
        add_labels(pdf, trays, page_mm=plan.size_mm, settings=settings)
    return bytes(pdf.output())


def _add_markers(pdf: FPDF, plan: Plan, words: Words) -> None:
    """Each marker on its card, and beside the card where it belongs."""
    side, card = plan.markers.side_mm, plan.card_side_mm
    for number in IDS:
        x, y = (float(value) for value in marker_places_mm(plan.layout, number)[0] + np.array(plan.inner_mm))
        dashed_box(pdf, at_mm=(x - card / 2, y - card / 2), size_mm=(card, card))
        at = (x - side / 2, y - side / 2)
        add_modules(pdf, marker_bits(number).tolist(), at_mm=at, module_mm=side / MODULES)
        text_y = y + card / 2 + 1.5 if y < plan.size_mm[1] / 2 else y - card / 2 - 7.5
        text = f"{number}: {words.gettext(_PLACES[number])}"
        write_at(pdf, text, at_mm=(x - card / 2, text_y), width_mm=card, size_pt=7)


def _add_heading(pdf: FPDF, plan: Plan, words: Words) -> None:
    left = plan.inner_mm[0] + 4
    width = plan.size_mm[0] - 2 * left
    title = words.gettext("Markers, ruler and colour card")
    write_at(pdf, title, at_mm=(left, 14), width_mm=width, size_pt=14, bold=True)
    text = words.gettext(
        "Print at 100 % (no “fit to page”) on matt paper. Check the print, then cut along the dashes. Keep "
        "every marker this way up when row A is at the top; the corner of its card nearest the middle "
        "touches the corner of the tray."
    )
    write_at(pdf, text, at_mm=(left, 23), width_mm=width, size_pt=9)


def _add_rulers(pdf: FPDF, plan: Plan) -> None:
    """A ruler across and one down: a mark each millimetre, longer ones each five and ten, a number each ten."""
    pdf.set_draw_color(0)
    pdf.set_line_width(0.15)
    for (x, y), across in ((plan.ruler_across_mm, True), (plan.ruler_down_mm, False)):
        for mm in range(round(RULER_MM) + 1):
            length = next(length for step, length in _TICKS_MM if mm % step == 0)
            pdf.line(*((x + mm, y, x + mm, y + length) if across else (x, y + mm, x + length, y + mm)))
            if mm % 10 == 0:
                at = (x + mm - 5, y + 5.6) if across else (x + 5, y + mm - 1.3)
                write_at(pdf, f"{mm} mm" if mm == RULER_MM else str(mm), at_mm=at, width_mm=10, size_pt=6.5)
        pdf.line(*((x, y, x + RULER_MM, y) if across else (x, y, x, y + RULER_MM)))


def _add_field(pdf: FPDF, plan: Plan, words: Words) -> None:
    pdf.set_fill_color(0)
    for x, y in field_squares(plan).tolist():
        pdf.rect(x, y, SQUARE_MM, SQUARE_MM, style="F")
    (x, y), (width, height) = plan.real_card_mm, REAL_CARD_MM
    text = words.gettext(
        "To check the print, lay a bank or membership card (85.6 by 54 mm) here, no number upwards, so that squares "
        "are seen on all its sides. Photograph the whole sheet from straight above:"
    )
    write_at(pdf, text, at_mm=(x + 11, y + height / 2 - 13), width_mm=width - 22, size_pt=7.5)
    write_at(
        pdf, "canopy sheet check PHOTO", at_mm=(x + 11, y + height / 2 + 4), width_mm=width - 22, size_pt=8, bold=True
    )


def _add_colour_card(pdf: FPDF, plan: Plan, words: Words) -> None:
    (x, y), (width, height) = plan.colour_card_mm, plan.colour_card_size_mm
    dashed_box(pdf, at_mm=(x, y), size_mm=(width, height))
    card = plan.colour_card
    side = card.patch_mm
    codes = np.rint(255 * linear_to_srgb(np.clip(lab_to_linear([patch.lab for patch in card.patches]), 0, 1)))
    for patch, code in zip(card.patches, codes.astype(int).tolist(), strict=True):
        pdf.set_fill_color(*code)
        pdf.rect(x + patch.x_mm - side / 2, y + patch.y_mm - side / 2, side, side, style="F")
    text = words.gettext(
        'Colour card. In canopy.toml under [measure.light]: card = "{name}", and where its upper left corner lies.',
        name=card.name,
    )
    write_at(pdf, text, at_mm=(x - 8, y + height + 1.5), width_mm=width + 16, size_pt=7)
