"""All colours, once: how a decision looks, the steps of maps, and the colours of pages.

Decisions are told by shape, letter and colour together, so that none of them is needed alone. Their colours are the
palette of Okabe and Ito (2008, "Color Universal Design"), made to be told apart with every common kind of colour
vision; values as published there. The steps of maps are those of ColorBrewer that are marked as safe for colour-blind
readers (Harrower & Brewer 2003, Cartogr. J. 40:27-37): "Blues" and "PuOr" in seven classes, values from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from canopy.words import marked

Colour = tuple[int, int, int]

BLACK: Colour = (0, 0, 0)
WHITE: Colour = (255, 255, 255)
ORANGE: Colour = (230, 159, 0)
SKY_BLUE: Colour = (86, 180, 233)
BLUISH_GREEN: Colour = (0, 158, 115)
YELLOW: Colour = (240, 228, 66)
BLUE: Colour = (0, 114, 178)
VERMILION: Colour = (213, 94, 0)
REDDISH_PURPLE: Colour = (204, 121, 167)
GREY: Colour = (120, 120, 120)


@dataclass(frozen=True)
class Look:
    """How one decision is drawn and said.

    Attributes
    ----------
    decision : str
    letter : str
        One capital, drawn inside the shape.
    shape : str
        `circle`, `square`, `triangle`, `diamond` or `cross`.
    fill, ink : Colour
        sRGB of the shape and of the letter on it.
    action : str
        What a person does, in the imperative.
    """

    decision: str
    letter: str
    shape: str
    fill: Colour
    ink: Colour
    action: str


LOOKS: dict[str, Look] = {
    look.decision: look
    for look in (
        Look(marked("harvest"), "H", "circle", BLUISH_GREEN, BLACK, marked("cut now")),
        Look(marked("transplant"), "T", "square", BLUE, WHITE, marked("move on now")),
        Look(marked("inspect"), "?", "triangle", ORANGE, BLACK, marked("look at it first")),
        Look(marked("wait"), "W", "diamond", WHITE, BLACK, marked("leave it to grow")),
        Look(marked("empty"), "–", "cross", GREY, WHITE, marked("no living plant")),
    )
}
UNDECIDED = Look("", "", "none", GREY, WHITE, marked("not scored"))

PICKED = ("harvest", "transplant")


SERIES: tuple[Colour, ...] = (BLUE, VERMILION, BLUISH_GREEN, REDDISH_PURPLE, ORANGE, SKY_BLUE, BLACK, GREY)
"""Lines of one chart, in order; each has a sign of its own besides."""


@dataclass(frozen=True)
class Step:
    """One step of a map: its fill, and the ink in which numbers are read on it."""

    fill: Colour
    ink: Colour


def _steps(*fills: int) -> tuple[Step, ...]:
    colours = [(fill >> 16, fill >> 8 & 255, fill & 255) for fill in fills]
    return tuple(Step(fill, ink_on(fill)) for fill in colours)


def ink_on(fill: Colour) -> Colour:
    """Black or white, whichever is read better on a fill."""
    return max((BLACK, WHITE), key=lambda ink: contrast_ratio(ink, fill))


def contrast_ratio(one: Colour, other: Colour) -> float:
    """Contrast of two colours, 1 to 21 (Web Content Accessibility Guidelines 2.2, "contrast ratio")."""
    light, dark = sorted((_relative_luminance(one), _relative_luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _relative_luminance(colour: Colour) -> float:
    """As the guidelines define it, their rounded threshold 0.04045 included."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (code / 255 for code in colour)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


RAMP = _steps(0xEFF3FF, 0xC6DBEF, 0x9ECAE1, 0x6BAED6, 0x4292C6, 0x2171B5, 0x084594)
"""Little to much: "Blues", light to dark, so that grey prints keep the order."""
AWAY = _steps(0xB35806, 0xF1A340, 0xFEE0B6, 0xF7F7F7, 0xD8DAEB, 0x998EC3, 0x542788)
"""Below to above the middle: "PuOr", orange is less."""

PAGE: dict[str, dict[str, Colour]] = {
    "light": {
        "paper": WHITE,
        "ink": (20, 23, 26),
        "soft": (82, 90, 99),
        "line": (118, 126, 134),
        "card": (243, 245, 247),
        "warn": (255, 243, 214),
        "warn-ink": (61, 44, 0),
        "link": (0, 84, 140),
    },
    "dark": {
        "paper": (16, 18, 20),
        "ink": (242, 244, 246),
        "soft": (169, 177, 186),
        "line": (122, 131, 141),
        "card": (27, 31, 35),
        "warn": (58, 45, 11),
        "warn-ink": (255, 233, 184),
        "link": (142, 202, 250),
    },
}
"""Colours of pages in light and dark: text is `ink` or `soft` on `paper` or `card`, `warn-ink` on `warn`."""


def page_css() -> str:
    """The colours of pages as CSS variables; those of the dark page where the reader's screen asks for it."""
    light, dark = (" ".join(f"--{name}: {css_colour(colour)};" for name, colour in PAGE[kind].items()) for kind in PAGE)
    return (
        f":root {{ color-scheme: light dark; {light} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}\n"
    )


def step_of(value: float, steps: tuple[Step, ...], *, low: float, high: float) -> Step:
    """The step in which a value lies when `low` to `high` is cut into equal parts; beyond them the outer ones.

    A range of no width gives the middle step.
    """
    if not high > low:
        return steps[len(steps) // 2]
    return steps[min(max(math.floor((value - low) / (high - low) * len(steps)), 0), len(steps) - 1)]


def look_of(decision: object) -> Look:
    """Look of a decision; `UNDECIDED` when it is missing (a tray scored on nothing)."""
    return LOOKS.get(decision, UNDECIDED) if isinstance(decision, str) else UNDECIDED


def css_colour(colour: Colour) -> str:
    """`#rrggbb` of a colour."""
    return "#{:02x}{:02x}{:02x}".format(*colour)
