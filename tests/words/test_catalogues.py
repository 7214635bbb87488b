"""Every language is complete: each text translated, its fields kept, its file up to date."""

from __future__ import annotations

import ast
import io
import re
import string
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from benchmarks.gather_words import gathered, missing, updated
from canopy.words import ENGLISH, languages, words_in

WORDS = Path(__file__).resolve().parents[2] / "canopy" / "words"
OTHERS = pytest.mark.parametrize("language", [name for name in languages() if name != ENGLISH])


def _messages(language):
    return [m for m in read_po(io.BytesIO((WORDS / f"{language}.po").read_bytes())) if m.id]


def _texts(value):
    return value if isinstance(value, tuple) else (value,)


def _fields(text):
    """Fields of either kind: `{name}` of Python, `%(name)s` of templates."""
    braces = {name for _, name, _, _ in string.Formatter().parse(text) if name} if "%(" not in text else set()
    return braces | set(re.findall(r"%\((\w+)\)s", text))


@OTHERS
def test_every_text_is_translated(language):
    assert missing((WORDS / f"{language}.po").read_bytes()) == []


@OTHERS
def test_the_file_holds_the_texts_of_today_and_no_others(language):
    today = {m.id for m in gathered() if m.id}
    assert {m.id for m in _messages(language)} == today
    po = (WORDS / f"{language}.po").read_bytes()
    assert updated(po) == po  # `python -m benchmarks.gather_words` changes nothing


@OTHERS
def test_fields_are_those_of_the_english_text(language):
    for message in _messages(language):
        wanted = set.union(*(_fields(text) for text in _texts(message.id)))
        for text in _texts(message.string):
            assert _fields(text) == wanted, message.id


@OTHERS
def test_no_text_is_marked_as_doubtful_and_ends_are_alike(language):
    for message in _messages(language):
        assert not message.fuzzy
        one, said = _texts(message.id)[0], _texts(message.string)[0]
        assert one.endswith(".") == said.endswith("."), one
        assert (one.startswith(" "), one.endswith(" ")) == (said.startswith(" "), said.endswith(" ")), one


def test_spanish_says_what_a_crew_reads():
    words = words_in("es")
    assert words.gettext("cut now") == "cortar ahora"
    assert [words.ngettext("{n} plant", "{n} plants", n, n=n) for n in (0, 1, 2)] == [
        "0 plantas",
        "1 planta",
        "2 plantas",
    ]
    line = "90 = 100 · size 1.00^.47 · age 1.00^.24 · health 0.70^.29 — held back by health"
    assert words.say(line) == "90 = 100 · tamaño 1.00^.47 · edad 1.00^.24 · sanidad 0.70^.29 — frenado por sanidad"
    reason = "too small: 412.5 mm², minimum 600 mm²; score 66.5 below 80, held back by cover"
    said = "demasiado pequeña: 412.5 mm², mínimo 600 mm²; puntaje 66.5 por debajo de 80, frenado por cobertura"
    assert words.say(reason) == said
    # The last field of a sentence ends before the next sentence.
    assert words.say("damage: 44.2 % yellow or brown, limit 12.0 %; score 0.0 below 80, held back by size") == (
        "daño: 44.2 % amarillo o marrón, límite 12.0 %; puntaje 0.0 por debajo de 80, frenado por tamaño"
    )
    assert words.say("rows B–C, F weak") == "filas B–C, F débiles"
    assert words.say("Lettuce of our own") == "Lettuce of our own"


def test_no_text_hides_in_a_formatted_one_where_it_is_not_found():
    hidden = []
    for path in sorted(WORDS.parent.rglob("*.py")):
        for joined in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(joined, ast.JoinedStr):
                calls = [node for node in ast.walk(joined) if isinstance(node, ast.Call)]
                names = [(call.func.attr, call) for call in calls if isinstance(call.func, ast.Attribute)]
                hidden += [
                    f"{path.name}:{call.lineno}" for name, call in names
                    if name in ("gettext", "ngettext") and isinstance(call.args[0], ast.Constant)
                ]  # fmt: skip
    assert hidden == []
