"""The strip below an overlay: which tray, when, how large, and what the signs mean."""

from __future__ import annotations

import numpy as np
import pandas as pd

from canopy.outputs.marks import Picture, draw_sign, draw_sign_letter, font, pen
from canopy.outputs.tables import field_text
from canopy.pictures.palette import BLACK, LOOKS, WHITE
from canopy.records import Reading
from canopy.words import PLAIN, Words

# Proportions of the strip, of the picture's long side.
_TEXT = 0.021
_LINE = 0.044
_BAR_SHARE_MAX = 0.3
_BAR_LENGTHS_MM = (500, 200, 100, 50, 20, 10, 5)


def add_strip(picture: Picture, reading: Reading, *, mm_per_px: float, words: Words = PLAIN) -> Picture:
    """The picture with a white strip below it.

    Parameters
    ----------
    picture : (M, N, 3) uint8 ndarray
    reading : Reading
    mm_per_px : float
        Scale of the picture at the tray's centre, in the plane of the rim.
    words : Words

    Returns
    -------
    (M + strip, N, 3) uint8 ndarray
    """
    width = picture.shape[1]
    long_side = max(picture.shape[:2])
    line, text = _LINE * long_side, _TEXT * long_side
    items = sign_items(reading.cells["decision"], words=words)
    rows = _rows_of_items(items, width_px=width, text_px=text)
    strip = np.full((round(line * (len(rows) + 1.35)), width, 3), 255, dtype=np.uint8)
    length_mm = scale_bar_mm(width, mm_per_px=mm_per_px)
    x, y = 0.5 * line, 0.75 * line
    _draw_bar(strip, x=x, y=y, length_px=length_mm / mm_per_px, thick=0.12 * line)
    places = [
        (look, text_of, (x_item, y + (number + 1) * line))
        for number, row in enumerate(rows)
        for look, text_of, x_item in row
    ]
    for look, _, place in places:
        draw_sign(strip, LOOKS[look], centre=(place[0] + 0.4 * line, place[1]), radius_px=0.3 * line)
    image, draw = pen(strip)
    for look, text_of, place in places:
        draw_sign_letter(draw, LOOKS[look], centre=(place[0] + 0.4 * line, place[1]), radius_px=0.3 * line)
        draw.text((place[0] + line, place[1]), text_of, font=font(text), fill=BLACK, anchor="lm")
    draw.text((x + length_mm / mm_per_px + 0.3 * line, y), f"{length_mm} mm", font=font(text), fill=BLACK, anchor="lm")
    draw.text((width - 0.5 * line, y), _title(reading, words), font=font(text), fill=BLACK, anchor="rm")
    return np.concatenate([picture, np.array(image, dtype=np.uint8)])


def sign_items(decisions: pd.Series, *, words: Words = PLAIN) -> list[tuple[str, str]]:
    """(decision, words with the count) of each decision that occurs, in the order of the legend."""
    counts = decisions.value_counts()
    return [
        (name, f"{counts[name]} {words.gettext(name)}: {words.gettext(look.action)}")
        for name, look in LOOKS.items()
        if counts.get(name, 0) > 0
    ]


def scale_bar_mm(width_px: int, *, mm_per_px: float) -> int:
    """Longest round length in mm that takes at most 30 % of the width."""
    room_mm = _BAR_SHARE_MAX * width_px * mm_per_px
    return next((length for length in _BAR_LENGTHS_MM if length <= room_mm), _BAR_LENGTHS_MM[-1])


def _title(reading: Reading, words: Words) -> str:
    taken_at = field_text(reading.trays["taken_at"].iloc[0], 5).replace("T", " ")[:16]
    return words.gettext("tray {name}", name=reading.tray) + (f"   {taken_at}" if taken_at else "")


def _rows_of_items(
    items: list[tuple[str, str]], *, width_px: int, text_px: float
) -> list[list[tuple[str, str, float]]]:
    """Items laid out in rows, each with its left edge in pixels."""
    margin = 0.25 * _LINE / _TEXT * text_px
    rows: list[list[tuple[str, str, float]]] = [[]]
    x = margin
    for look, words in items:
        needed = _LINE / _TEXT * text_px + font(text_px).getlength(words) + 1.2 * text_px
        if rows[-1] and x + needed > width_px:
            rows.append([])
            x = margin
        rows[-1].append((look, words, x))
        x += needed
    return rows


def _draw_bar(strip: Picture, *, x: float, y: float, length_px: float, thick: float) -> None:
    """A bar half black, half white with a black rim, with exact ends."""
    x0, x1, y0, y1 = round(x), round(x + length_px), round(y - thick), round(y + thick)
    strip[y0:y1, x0:x1] = BLACK
    rim = max(1, round(thick / 4))
    strip[y0 + rim : y1 - rim, (x0 + x1) // 2 : x1 - rim] = WHITE
