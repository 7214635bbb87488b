"""Text as it comes from file systems and tray lists, kept so that every database takes it and gives it back."""

from __future__ import annotations

import re
from typing import Any

from sqlalchemy import Dialect, Text
from sqlalchemy.types import TypeDecorator, TypeEngine

# PostgreSQL refuses NUL, and both refuse lone surrogates (names that are not UTF-8); the backslash marks a change.
_TO_CHANGE = re.compile("[\\\\\x00\ud800-\udfff]")
_CHANGED = re.compile(r"\\u([0-9a-f]{4})")


def to_stored(text: str) -> str:
    """The text with NUL, lone surrogates and backslashes written as `\\uXXXX`; all else as it is."""
    return _TO_CHANGE.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def from_stored(text: str) -> str:
    """The text that `to_stored` was given."""
    return _CHANGED.sub(lambda found: chr(int(found[1], 16)), text) if "\\" in text else text


class AnyText(TypeDecorator[str]):
    """Any string at all, compared and sorted by its code points on every database."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Sorted as bytes, whatever language the server speaks; SQLite does so by itself."""
        return dialect.type_descriptor(Text(collation="C") if dialect.name == "postgresql" else Text())

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """On the way in."""
        return None if value is None else to_stored(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> str | None:  # noqa: ARG002
        """On the way out."""
        return None if value is None else from_stored(value)
