"""Bring the files of languages up to date with the texts of code and templates: python -m benchmarks.gather_words.

Every `canopy/words/*.po` keeps its translations, gets what is new with an empty one, and loses what is gone. What is
still to be translated is printed.
"""

from __future__ import annotations

import io
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from canopy.readiness.recipes import known_recipes
from canopy.reasons import REASONS
from canopy.words.phrases import PHRASES

CANOPY = Path(__file__).resolve().parent.parent / "canopy"
KEYWORDS = {"_": None, "gettext": None, "ngettext": (1, 2), "marked": None}
METHODS = [("**.py", "python"), ("**.html", "jinja2")]
TRIMMED = {"**.html": {"trimmed": "true", "newstyle_gettext": "true"}}


def gathered() -> Catalog:
    """All texts that can be translated, none translated."""
    catalogue = Catalog(fuzzy=False)
    found = extract_from_dir(CANOPY, METHODS, TRIMMED, keywords=KEYWORDS)
    for name, _, message, _, _ in sorted(found, key=lambda entry: entry[:2]):
        catalogue.add(message, locations=[(name, 0)])
    for room, texts in _texts_of_rooms():
        for text in texts:
            catalogue.add(text, locations=[(room, 0)])
    return catalogue


def _texts_of_rooms() -> list[tuple[str, list[str]]]:
    """Texts that stand in records and data files."""
    recipes = known_recipes().values()
    return [
        ("words/phrases.py", list(PHRASES)),
        ("reasons.py", [text for reason in REASONS.values() for text in (reason.short, reason.advice)]),
        ("readiness/crops", [text for recipe in recipes for text in (recipe.title, *recipe.cautions)]),
    ]


def updated(po: bytes) -> bytes:
    """A language's file brought up to date."""
    catalogue = read_po(io.BytesIO(po))
    catalogue.update(gathered(), no_fuzzy_matching=True, update_header_comment=False)
    catalogue.obsolete.clear()
    for message in catalogue:
        message.locations = sorted({(name, None) for name, _ in message.locations})
    text = io.BytesIO()
    write_po(text, catalogue, width=110, sort_by_file=True, include_lineno=False, omit_header=True)
    # The file's own header: the library would write the hour into it.
    header, _, _ = po.partition(b"\n\n")
    return header.strip() + b"\n\n" + text.getvalue().strip() + b"\n"


def missing(po: bytes) -> list[str]:
    """Texts without a translation."""
    empty = []
    for message in read_po(io.BytesIO(po)):
        texts = message.string if isinstance(message.string, tuple) else (message.string,)
        if message.id and not all(texts):
            empty.append(message.id if isinstance(message.id, str) else message.id[0])
    return empty


def main() -> None:
    """Update every language."""
    for path in sorted((CANOPY / "words").glob("*.po")):
        path.write_bytes(updated(path.read_bytes()))
        left = missing(path.read_bytes())
        print(f"{path.name}: {len(left)} to translate" + "".join(f"\n  {text}" for text in left))


if __name__ == "__main__":
    main()
