"""Templates of pages, their texts in one language."""

from __future__ import annotations

import jinja2

from canopy.words.language import words_in


def templates_in(language: str, *, package: str, folder: str) -> jinja2.Environment:
    """The templates of a package's folder; what they show is escaped, and a name that they do not know is an error.

    Raises
    ------
    UsageError
        There is no such language.
    """
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader(package, folder),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    environment.policies["ext.i18n.trimmed"] = True
    environment.install_gettext_translations(words_in(language), newstyle=True)  # type: ignore[attr-defined]
    return environment
