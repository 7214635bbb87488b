"""English texts come in, the same in the reader's language goes out; a language is one file, `LANGUAGE.po`."""

from canopy.words.language import ENGLISH, PLAIN, Words, languages, marked, words_in

__all__ = ["ENGLISH", "PLAIN", "Words", "languages", "marked", "words_in"]
