"""Elements that all pictures are built of: SVG with title and description, text, and a table that says the same."""

from __future__ import annotations

import re
from dataclasses import dataclass
from xml.etree import ElementTree as Tree

from canopy.pictures.palette import BLACK, WHITE, Colour, css_colour

Element = Tree.Element

TEXT_PX = 15.0
TITLE_PX = 17.0
LINE_PX = 20.0
MARGIN_PX = 10.0
RULE: Colour = (200, 204, 208)  # lines that only guide the eye
RIM: Colour = (90, 95, 100)
_NOT_IN_A_NAME = re.compile(r"[^A-Za-z0-9_-]+")


@dataclass(frozen=True)
class Chart:
    """One picture, and the same in words and numbers.

    Attributes
    ----------
    svg : str
        To be put into HTML as it is: everything from outside is escaped, nothing is styled inline.
    title : str
    summary : str
        What the picture shows, in a sentence or two; also its description.
    header : tuple of str
        Heads of the table.
    rows : tuple of tuples of str
        All values that are drawn, in words and numbers; what a reader who does not see the picture reads.
    """

    svg: str
    title: str
    summary: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def canvas(width: float, height: float, *, name: str, title: str, summary: str, linked: bool = False) -> Element:
    """The outermost element on a white ground, with title and description.

    Parameters
    ----------
    width, height : float
        Pixels at full size.
    name : str
        Unique on the page; what is no letter, digit, `-` or `_` is taken out.
    title, summary : str
    linked : bool
        Whether parts of the picture are links; else it is one image.
    """
    ident = "p-" + _NOT_IN_A_NAME.sub("-", name)
    root = Tree.Element(
        "svg",
        {
            "class": "chart",
            "role": "group" if linked else "img",
            "aria-labelledby": f"{ident}-title {ident}-summary",
            "viewBox": f"0 0 {number(width)} {number(height)}",
            "width": number(width),
            "height": number(height),
            "font-family": "system-ui, sans-serif",
            "font-size": number(TEXT_PX),
        },
    )
    add(root, "title", id=f"{ident}-title").text = title
    add(root, "desc", id=f"{ident}-summary").text = summary
    add(root, "rect", width=width, height=height, fill=css_colour(WHITE))
    write(root, title, x=MARGIN_PX, y=MARGIN_PX + TITLE_PX, size=TITLE_PX, bold=True)
    return root


def add(parent: Element, tag: str, **attributes: str | float) -> Element:
    """A new element; `_` in names of attributes stands for `-`."""
    texts = {name.replace("_", "-"): v if isinstance(v, str) else number(v) for name, v in attributes.items()}
    return Tree.SubElement(parent, tag, texts)


def write(
    parent: Element,
    text: str,
    *,
    x: float,
    y: float,
    anchor: str = "start",
    size: float = TEXT_PX,
    bold: bool = False,
    ink: Colour = BLACK,
) -> Element:
    """A line of text on its baseline."""
    weight = {"font_weight": "700"} if bold else {}
    element = add(parent, "text", x=x, y=y, text_anchor=anchor, font_size=size, fill=css_colour(ink), **weight)
    element.text = text
    return element


def box(parent: Element, *, x: float, y: float, width: float, height: float, fill: Colour) -> Element:
    """A filled rectangle with a thin rim, so that it is seen on any ground."""
    return add(parent, "rect", x=x, y=y, width=width, height=height, fill=css_colour(fill), stroke=css_colour(RIM))


def line(
    parent: Element, points: list[tuple[float, float]], *, ink: Colour, width: float = 2.0, dash: str = ""
) -> Element:
    """An open line through points."""
    dashes = {"stroke_dasharray": dash} if dash else {}
    path = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return add(parent, "polyline", points=path, fill="none", stroke=css_colour(ink), stroke_width=width, **dashes)


def text_px(text: str, *, size: float = TEXT_PX) -> float:
    """Width that a text may take at most; faces differ, 0.62 em a letter is wide for all common ones."""
    return 0.62 * size * len(text)


def number(value: float) -> str:
    """A coordinate with at most two decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def finished(root: Element) -> str:
    """The picture as text; control letters that XML does not know become spaces."""
    return re.sub("[\x00-\x08\x0b\x0c\x0e-\x1f]", " ", Tree.tostring(root, encoding="unicode"))
