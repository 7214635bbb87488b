"""Words of one language by gettext: from templates, from our own code, and from sentences that other rooms wrote."""

from __future__ import annotations

import gettext
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files

from canopy.errors import UsageError, did_you_mean
from canopy.words.phrases import NUMBERS, PHRASES

ENGLISH = "en"
"""What texts are written in; needs no file."""

_FIELD = re.compile(r"\{(\w+)\}")
_LETTER = re.compile(r"[^\W\d_]")
# What a field may hold: one sentence's part, never the next sentence.
_NUMBER, _WITHIN = "[0-9.]+", "(?:(?!; ).)+?"
_JOINTS = ("; ", " · ", " and ", ", ")


def marked(text: str) -> str:
    """The text as it is; tells the catalogue that it will be translated when it is shown."""
    return text


@dataclass(frozen=True)
class Words:
    """Texts of one language; `jinja2` takes it for `install_gettext_translations(words, newstyle=True)`.

    Attributes
    ----------
    language : str
        Code for the attribute `lang` of HTML, such as `es`.
    catalogue : gettext.NullTranslations
    """

    language: str
    catalogue: gettext.NullTranslations = field(repr=False)

    def gettext(self, text: str, /, **values: object) -> str:
        """The text in this language, English where it is missing; `{name}` becomes the value of that name."""
        said = self.catalogue.gettext(text)
        return said.format(**values) if values else said

    def ngettext(self, one: str, many: str, n: int, /, **values: object) -> str:
        """The same for a number of things, by the language's own rule of plurals."""
        said = self.catalogue.ngettext(one, many, n)
        return said.format(**values) if values else said

    def say(self, sentence: str) -> str:
        """A sentence of another room (a reason, remark, pattern, message of an error) in this language.

        Sentences are known as a whole, by their pattern (`canopy.words.phrases`), or as several joined by `; `, ` · `,
        `, ` or `and`. What is not known, such as a grower's own caution, is given back as it came.
        """
        if self.language == ENGLISH or not _LETTER.search(sentence):
            return sentence
        said = self._known(sentence)
        return sentence if said is None else said

    def knows(self, sentence: str) -> bool:
        """Whether `say` has words for the whole sentence."""
        return self.language == ENGLISH or self._known(sentence) is not None

    def _known(self, sentence: str) -> str | None:
        said = self.catalogue.gettext(sentence)
        if said != sentence:
            return said
        return self._by_pattern(sentence) or self._by_parts(sentence)

    def _by_pattern(self, sentence: str) -> str | None:
        for pattern, phrase in _patterns():
            if found := pattern.fullmatch(sentence):
                values = {name: self.say(value) for name, value in found.groupdict().items()}
                return self.catalogue.gettext(phrase).format(**values)
        return None

    def _by_parts(self, sentence: str) -> str | None:
        """Cut at the first joint that leaves two known parts."""
        for joint in _JOINTS:
            at = sentence.find(joint)
            while at >= 0:
                first, rest = self._known_first(sentence[:at]), sentence[at + len(joint) :]
                if first is not None and (others := self._known(rest)) is not None:
                    return first + self.catalogue.gettext(joint) + others
                at = sentence.find(joint, at + 1)
        return None

    def _known_first(self, part: str) -> str | None:
        said = self.catalogue.gettext(part)
        return said if said != part else self._by_pattern(part)


@cache
def words_in(language: str) -> Words:
    """Words of a language.

    Parameters
    ----------
    language : str
        `en`, or the name of a `.po` file of this room.

    Raises
    ------
    UsageError
        No such language.
    """
    if language == ENGLISH:
        return Words(ENGLISH, gettext.NullTranslations())
    if language not in languages():
        hint = did_you_mean(language, languages(), after=" ")
        raise UsageError(f"language: no `{language}`; {hint}known: {', '.join(languages())}")
    return Words(language, _catalogue(files("canopy.words").joinpath(f"{language}.po").read_bytes()))


PLAIN = words_in(ENGLISH)
"""English."""


def languages() -> tuple[str, ...]:
    """Codes of all languages, English first."""
    names = sorted(entry.name for entry in files("canopy.words").iterdir() if entry.name.endswith(".po"))
    return (ENGLISH, *(name.removesuffix(".po") for name in names))


def _catalogue(po: bytes) -> gettext.GNUTranslations:
    """The texts of a `.po` file; those marked as doubtful (fuzzy) are left out."""
    from babel.messages.mofile import write_mo  # here: English needs none of it
    from babel.messages.pofile import read_po

    compiled = io.BytesIO()
    write_mo(compiled, read_po(io.BytesIO(po)))
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)


@cache
def _patterns() -> tuple[tuple[re.Pattern[str], str], ...]:
    return tuple(_compiled(PHRASES))


def _compiled(phrases: Iterable[str]) -> Iterable[tuple[re.Pattern[str], str]]:
    """Phrases with fields as patterns, those with most text of their own first: they say more."""
    with_fields = [phrase for phrase in phrases if _FIELD.search(phrase)]
    for phrase in sorted(with_fields, key=lambda phrase: len(_FIELD.sub("", phrase)), reverse=True):
        parts = _FIELD.split(phrase)
        texts = [
            f"(?P<{part}>{_NUMBER if part in NUMBERS else _WITHIN})" if number % 2 else re.escape(part)
            for number, part in enumerate(parts)
        ]
        yield re.compile("".join(texts)), phrase
