"""Two pictures of one place, laid over each other with a slider, beside each other where no script runs.

The page that shows it links `before_after.css` and `before_after.js`, which lie beside this module; nothing is inline.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

from markupsafe import Markup

from canopy.words import Words

SCRIPT, STYLE = "before_after.js", "before_after.css"


@dataclass(frozen=True)
class Shot:
    """One picture.

    Attributes
    ----------
    address : str
        Address of the picture, or a data URI.
    caption : str
        Such as its day.
    alt : str
        What it shows, for those who do not see it.
    """

    address: str
    caption: str
    alt: str


def before_after(before: Shot, after: Shot, *, words: Words) -> str:
    """HTML of both pictures; the script of the page puts the later one over the earlier one and shows the slider."""
    return str(
        Markup(
            '<div class="before-after">{before}{after}<label hidden>{label} '
            '<input type="range" min="0" max="100" value="50" step="1"></label></div>'
        ).format(
            before=_figure("before", before),
            after=_figure("after", after),
            label=words.gettext("How much of the later picture is shown (%)"),
        )
    )


def _figure(kind: str, shot: Shot) -> Markup:
    picture = Markup('<img src="{shot.address}" alt="{shot.alt}">').format(shot=shot)
    text = Markup('<figure class="{kind}">{picture}<figcaption>{shot.caption}</figcaption></figure>')
    return text.format(kind=kind, picture=picture, shot=shot)


def page_file(name: str) -> str:
    """Text of `before_after.js` or `before_after.css`, to be served or put into a page."""
    return files("canopy.pictures").joinpath(name).read_text("utf-8")
