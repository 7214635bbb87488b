"""Words of one language: plain texts, plurals, sentences of other rooms."""

from __future__ import annotations

import gettext
import io

import jinja2
import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo

from canopy.errors import UsageError
from canopy.words import ENGLISH, Words, languages, words_in


@pytest.fixture
def made_up() -> Words:
    """A language in which every text is written backwards or anew, by hand."""
    catalogue = Catalog(locale="es")
    for text, said in {
        "cut now": "won tuc",
        ("{n} plant", "{n} plants"): ("{n} tnalp", "{n} stnalp"),
        ("%(n)s tray", "%(n)s trays"): ("%(n)s yart", "%(n)s syart"),
        "too young: {days} days after sowing, minimum {least}": "min {least}, has {days}",
        "no score: {missing}": "none: {missing}",
        "{names} withheld, their weight shared out": "without {names}",
        "size missing": "no size",
        "size": "ezis",
        "health": "htlaeh",
        "{score} = 100 · {terms}": "{score} = 100 · {terms}",
        "{line} — held back by {name}": "{line} <- {name}",
        "{name} {desirability}^{weight}": "{name} {desirability}^{weight}",
        "; ": " / ",
        " and ": " & ",
        " · ": " · ",
    }.items():
        catalogue.add(text, said)
    compiled = io.BytesIO()
    write_mo(compiled, catalogue)
    compiled.seek(0)
    return Words("xx", gettext.GNUTranslations(compiled))


def test_english_is_what_is_written():
    words = words_in(ENGLISH)
    assert words.gettext("cut now") == "cut now"
    assert words.gettext("{n} of {m}", n=1, m=2) == "1 of 2"
    assert [words.ngettext("{n} plant", "{n} plants", n, n=n) for n in (0, 1, 2)] == ["0 plants", "1 plant", "2 plants"]
    assert words.say("too young: 3 days after sowing, minimum 5") == "too young: 3 days after sowing, minimum 5"


def test_another_language_answers_or_stays_english(made_up):
    assert made_up.gettext("cut now") == "won tuc"
    assert made_up.ngettext("{n} plant", "{n} plants", 2, n=2) == "2 stnalp"
    assert made_up.gettext("never heard of {x}", x=1) == "never heard of 1"


@pytest.mark.parametrize(
    ("sentence", "said"),
    [
        ("too young: 3 days after sowing, minimum 5", "min 5, has 3"),
        ("no score: size missing", "none: no size"),
        ("size and health withheld, their weight shared out", "without ezis & htlaeh"),
        ("no score: size missing; too young: 3 days after sowing, minimum 5", "none: no size / min 5, has 3"),
        ("90 = 100 · size 1.00^.47 · health 0.70^.29 — held back by health",
         "90 = 100 · ezis 1.00^.47 · htlaeh 0.70^.29 <- htlaeh"),
        ("our own caution", "our own caution"),
        ("size missing; our own caution", "size missing; our own caution"),  # never half and half
        ("12.5", "12.5"),
    ],
)  # fmt: skip
def test_sentences_of_other_rooms(made_up, sentence, said):
    assert made_up.say(sentence) == said


def test_what_is_known_can_be_asked(made_up):
    assert made_up.knows("no score: size missing")
    assert not made_up.knows("our own caution")


def test_templates_take_the_words(made_up):
    environment = jinja2.Environment(extensions=["jinja2.ext.i18n"], autoescape=True)
    environment.install_gettext_translations(made_up, newstyle=True)
    text = "{{ _('cut now') }}: {% trans n=2 %}{{ n }} tray{% pluralize %}{{ n }} trays{% endtrans %}"
    assert environment.from_string(text).render() == "won tuc: 2 syart"


def test_languages_are_the_files_and_others_are_refused():
    assert languages()[0] == ENGLISH
    assert "es" in languages()
    with pytest.raises(UsageError, match=r"language: no `ess`; did you mean `es`\? known: en, es"):
        words_in("ess")
