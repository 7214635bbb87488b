"""How a decision looks: shape, letter and colour together, so that none of them is needed alone.

Colours are the palette of Okabe and Ito (2008, "Color Universal Design"), made to be told apart with every common kind
of colour vision; values as published there.
"""

from __future__ import annotations

from dataclasses import dataclass

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
        Look("harvest", "H", "circle", BLUISH_GREEN, WHITE, "cut now"),
        Look("transplant", "T", "square", BLUE, WHITE, "move on now"),
        Look("inspect", "?", "triangle", ORANGE, BLACK, "look at it first"),
        Look("wait", "W", "diamond", WHITE, BLACK, "leave it to grow"),
        Look("empty", "–", "cross", GREY, WHITE, "no living plant"),
    )
}
UNDECIDED = Look("", "", "none", GREY, WHITE, "not scored")

PICKED = ("harvest", "transplant")


def look_of(decision: object) -> Look:
    """Look of a decision; `UNDECIDED` when it is missing (a tray scored on nothing)."""
    return LOOKS.get(decision, UNDECIDED) if isinstance(decision, str) else UNDECIDED


def css_colour(colour: Colour) -> str:
    """`#rrggbb` of a colour."""
    return "#{:02x}{:02x}{:02x}".format(*colour)
