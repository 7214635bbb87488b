"""Draw the sheet of corner markers, `sample_images/readme/corner_markers.svg`: python -m benchmarks.draw_markers.

Four cards of 30 mm with the markers 0 to 3 of 20 mm in their middle, laid out as they lie around a tray. A card's inner
corner (the one nearest the middle of the four) touches the tray's corner, which puts the marker's centre 15 mm outside
it in both directions.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from canopy.records import Markers

SHEET = Path(__file__).resolve().parent.parent / "sample_images" / "readme" / "corner_markers.svg"
DICTIONARY = cv2.aruco.DICT_4X4_50
MODULES = 6
"""Modules along a marker's side: four of code and one of black border at each end."""

PAGE_MM = (210, 297)
CARD_CENTRES_MM = ((55, 70), (155, 70), (155, 160), (55, 160))
PLACES = ("by A1", "by the last column of row A", "across from marker 0", "by the last row of column 1")


def marker_bits(number: int) -> np.ndarray:
    """(6, 6) bool, True where the marker is black."""
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    return cv2.aruco.generateImageMarker(dictionary, number, MODULES) == 0


def sheet() -> str:
    """The whole sheet as SVG; one unit is one millimetre."""
    side, card = Markers().side_mm, 2 * Markers().offset_mm
    width, height = PAGE_MM
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">',
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        '<g font-family="sans-serif" text-anchor="middle" font-size="4.5">',
        '<text x="105" y="20" font-size="7">Corner markers</text>',
        '<text x="105" y="28">Print at 100 % (no “fit to page”), matt, and check the bar below with a ruler.</text>',
        '<text x="105" y="35">Cut along the dashes. Keep each card this way up when row A is at the top;</text>',
        '<text x="105" y="41">its corner nearest the middle of the four touches the corner of the tray.</text>',
    ]
    for number, ((x, y), place) in enumerate(zip(CARD_CENTRES_MM, PLACES, strict=True)):
        parts.append(_card(x - card / 2, y - card / 2, card))
        parts.append(_marker(number, x - side / 2, y - side / 2, side / MODULES))
        parts.append(f'<text x="{x}" y="{y + card / 2 + 7}">{number}: {place}</text>')
    parts += [
        '<path d="M55 215h100M55 212v6M155 212v6" stroke="#000" stroke-width="0.5"/>',
        '<text x="105" y="224">100 mm</text>',
        "</g>",
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _card(x: float, y: float, side: float) -> str:
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{side:g}" height="{side:g}" fill="none" stroke="#999" '
        'stroke-width="0.2" stroke-dasharray="1 1"/>'
    )


def _marker(number: int, x: float, y: float, module: float) -> str:
    """One path of all black modules, so that no hairline shows between them."""
    runs = []
    for row, bits in enumerate(marker_bits(number)):
        edges = np.flatnonzero(np.diff(np.r_[False, bits, False].astype(int)))
        for start, end in zip(edges[::2], edges[1::2], strict=True):
            length = (end - start) * module
            runs.append(f"M{x + start * module:.4f} {y + row * module:.4f}h{length:.4f}v{module:.4f}h{-length:.4f}z")
    return f'<path id="marker-{number}" shape-rendering="crispEdges" d="{"".join(runs)}"/>'


def main() -> None:
    """Write the sheet."""
    SHEET.parent.mkdir(parents=True, exist_ok=True)
    SHEET.write_text(sheet(), encoding="utf-8")
    print(f"{SHEET.name}  {SHEET.stat().st_size / 1000:.1f} kB")


if __name__ == "__main__":
    main()
