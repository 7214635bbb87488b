"""Where everything lies on the printed sheet; who draws it and who reads a photo of it go by this page alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.errors import UsageError, did_you_mean
from canopy.measure.card import shipped_cards
from canopy.records import ColourCard, Layout, Markers

FloatArray = NDArray[np.float64]

PAPERS: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height in mm: ISO 216 A4; 8.5 by 11 inches of 25.4 mm."""

MARGIN_MM = 12.0
"""Left free at the rim; common printers reach to 4 to 6 mm of it (common practice, no source)."""
RULER_MM = 150.0
REAL_CARD_MM = (85.60, 53.98)
"""A card as used for banking and membership, ISO/IEC 7810 size ID-1 (from memory)."""
REAL_CARD_THICK_MM = 0.76
"""Its thickness, the same standard (from memory)."""
SQUARE_MM = 1.5
"""Side of one square of the field round the place of the real card."""
FIELD_REACH_MM = 9.0
"""How far that field reaches inwards and outwards of a card's edge."""
COLOUR_CARD = "sheet24"


@dataclass(frozen=True)
class Plan:
    """One sheet, in page millimetres from its upper left corner, x to the right, y down.

    Attributes
    ----------
    paper : str
    size_mm : tuple of float
    markers : Markers
        Side and offset; a marker's card is a square of twice the offset.
    """

    paper: str
    size_mm: tuple[float, float]
    markers: Markers

    @property
    def card_side_mm(self) -> float:
        """Side of the square that is cut out round one marker."""
        return 2 * self.markers.offset_mm

    @property
    def inner_mm(self) -> tuple[float, float]:
        """Upper left corner of the rectangle between the four markers: where a tray's corner 0 would lie."""
        return (MARGIN_MM + self.card_side_mm, MARGIN_MM + self.card_side_mm)

    @property
    def layout(self) -> Layout:
        """The sheet as a tray of one cell: photos of it are read as those of a tray."""
        width, height = (side - 2 * corner for side, corner in zip(self.size_mm, self.inner_mm, strict=True))
        return Layout(
            name=f"sheet {self.paper}",
            rows=1,
            columns=1,
            pitch_x_mm=width,
            pitch_y_mm=height,
            outline_width_mm=width,
            outline_height_mm=height,
            markers=self.markers,
        )

    @property
    def ruler_across_mm(self) -> tuple[float, float]:
        """Start of the ruler across the page."""
        return ((self.size_mm[0] - RULER_MM) / 2, self.inner_mm[1] + 20.0)

    @property
    def ruler_down_mm(self) -> tuple[float, float]:
        """Start of the ruler down the page."""
        return (MARGIN_MM + 6.0, self.ruler_across_mm[1] + 12.0)

    @property
    def real_card_mm(self) -> tuple[float, float]:
        """Upper left corner of the place where a real card is laid."""
        middle = (self.size_mm[0] + 24.0) / 2
        return (middle - REAL_CARD_MM[0] / 2, self.ruler_across_mm[1] + 14.0 + FIELD_REACH_MM)

    @property
    def colour_card_mm(self) -> tuple[float, float]:
        """Upper left corner of the colour card."""
        middle = (self.size_mm[0] + 24.0) / 2
        below_field = self.real_card_mm[1] + REAL_CARD_MM[1] + FIELD_REACH_MM
        return (middle - self.colour_card_size_mm[0] / 2, below_field + 10.0)

    @property
    def colour_card(self) -> ColourCard:
        """The card whose patches are printed."""
        return shipped_cards()[COLOUR_CARD]

    @property
    def colour_card_size_mm(self) -> tuple[float, float]:
        """Width and height of the colour card, with as much rim at the far sides as at the near ones."""
        patches = self.colour_card.patches
        first = patches[0]
        return (max(p.x_mm for p in patches) + first.x_mm, max(p.y_mm for p in patches) + first.y_mm)

    def on_tray(self, point_mm: tuple[float, float]) -> tuple[float, float]:
        """A place of the page in the millimetres of `layout`."""
        return (point_mm[0] - self.inner_mm[0], point_mm[1] - self.inner_mm[1])


def plan_for(paper: str, *, markers: Markers | None = None) -> Plan:
    """The sheet of a paper size.

    Raises
    ------
    UsageError
        No such paper, or markers too large for it.
    """
    if paper not in PAPERS:
        hint = did_you_mean(paper, PAPERS, after=" ")
        raise UsageError(f"paper: no `{paper}`; {hint}known: {', '.join(PAPERS)}")
    plan = Plan(paper, PAPERS[paper], markers or Markers())
    bottom = plan.size_mm[1] - plan.inner_mm[1]
    if plan.markers.side_mm > plan.card_side_mm:
        raise UsageError(
            f"marker_mm: {plan.markers.side_mm:g} does not fit into a card of {plan.card_side_mm:g} mm; "
            "give a smaller one or a larger `marker_offset_mm`"
        )
    if plan.colour_card_mm[1] + plan.colour_card_size_mm[1] > bottom:
        raise UsageError(
            f"marker_offset_mm: cards of {plan.card_side_mm:g} mm leave no room on {paper}; give a smaller one"
        )
    return plan


def field_squares(plan: Plan) -> FloatArray:
    """(n, 2) upper left corners of the black squares of the field round the place of the real card, page mm.

    A chequered ring: a card that lies on it hides squares, and where they end its edge is read, whatever its colour.
    """
    (x, y), (width, height) = plan.real_card_mm, REAL_CARD_MM
    left, top = x - FIELD_REACH_MM, y - FIELD_REACH_MM
    columns, rows = (round((side + 2 * FIELD_REACH_MM) / SQUARE_MM) for side in (width, height))
    column, row = np.meshgrid(np.arange(columns), np.arange(rows))
    middle_x, middle_y = left + (column + 0.5) * SQUARE_MM, top + (row + 0.5) * SQUARE_MM
    inside = (abs(middle_x - x - width / 2) < width / 2 - FIELD_REACH_MM) & (
        abs(middle_y - y - height / 2) < height / 2 - FIELD_REACH_MM
    )
    black = ((column + row) % 2 == 0) & ~inside
    return np.column_stack([left + column[black] * SQUARE_MM, top + row[black] * SQUARE_MM])
