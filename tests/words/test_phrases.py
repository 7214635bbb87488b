"""The sentences that rooms write are those that the catalogue knows: whoever rewords one is told here."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from canopy.words import words_in
from canopy.words.phrases import PHRASES

CANOPY = Path(__file__).resolve().parents[2] / "canopy"
ROOMS = ("readiness", "measure", "photo", "tray", "batch")
FIELD = re.compile(r"\{\w+\}")
SPANISH = words_in("es")


def _template(node):
    """A text with `{}` for what is put into it; None for what is no text."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(part.value if isinstance(part, ast.Constant) else "{}" for part in node.values)
    return None


def _templates(*paths):
    trees = [ast.parse(path.read_text(encoding="utf-8")) for path in paths]
    return [text for tree in trees for node in ast.walk(tree) if (text := _template(node)) and " " in text]


SOURCES = [path for room in ROOMS for path in sorted((CANOPY / room).rglob("*.py"))] + [CANOPY / "analyse.py"]
WRITTEN = "\n".join(_templates(*SOURCES))
# Texts that the rooms put together from words: parts of them stand in the source, the whole does not.
COMPOSED = {"1 day left", "{n} days left", "range {low} to {high} crosses {bound}, too wide to decide"}


def _pieces(phrase):
    """Parts of a phrase between its fields that hold two words at least."""
    pieces = [piece.strip(": ") for piece in FIELD.split(phrase)]
    return [piece for piece in pieces if len(re.findall(r"\w{2,}", piece)) >= 2]


@pytest.mark.parametrize("phrase", [p for p in PHRASES if p not in COMPOSED and _pieces(p)])
def test_every_phrase_is_written_somewhere(phrase):
    for piece in _pieces(phrase):
        if piece in WRITTEN:
            continue
        # Patterns are put together from a word and a quality: `row`, `weak`; only whole words are looked for then.
        assert all(re.search(rf"\b{re.escape(word)}", WRITTEN) for word in re.findall(r"[\w`]{3,}", piece)), piece


KNOWN = {FIELD.sub("{}", phrase) for phrase in PHRASES}


def _said_of_cells(name):
    """Sentences of a module: its texts of three words and more, but for docstrings and errors of programmers."""
    tree = ast.parse((CANOPY / name).read_text(encoding="utf-8"))
    kept_out = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Raise) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant))
    ]
    inside = {id(part) for node in kept_out for part in ast.walk(node)}
    texts = [_template(node) for node in ast.walk(tree) if id(node) not in inside]
    return [text for text in texts if text and len(re.findall(r"\b[a-z]{2,}\b", text)) >= 3]


@pytest.mark.parametrize("name", ["readiness/findings.py", "measure/area.py", "measure/covered.py"])
def test_every_sentence_on_a_cell_has_a_phrase(name):
    sentences = _said_of_cells(name)
    assert sentences
    for sentence in sentences:
        # A piece of a longer sentence, or one whose own words are put in, counts as well.
        pattern = re.compile(".+".join(re.escape(piece) for piece in sentence.removeprefix(", ").split("{}")))
        assert any(pattern.search(known) for known in KNOWN), sentence


@pytest.mark.parametrize("phrase", [p for p in PHRASES if FIELD.search(p)])
def test_every_phrase_is_said_with_its_values(phrase):
    values = {name: str(7 + n) for n, name in enumerate(re.findall(r"\{(\w+)\}", phrase))}
    said = SPANISH.say(phrase.format(**values))
    assert all(value in said for value in values.values())
    assert said == SPANISH.gettext(phrase).format(**values)
