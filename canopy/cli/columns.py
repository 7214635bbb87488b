"""Lists on the screen: aligned for people, one object for machines."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any


def in_columns(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Rows under a header, columns aligned with two spaces between."""
    table = [header, *rows]
    widths = [max(len(row[k]) for row in table) for k in range(len(header))]
    lines = ["  ".join(field.ljust(width) for field, width in zip(row, widths, strict=True)) for row in table]
    return "\n".join(line.rstrip() for line in lines)


def one_json(name: str, items: Sequence[Any]) -> str:
    """`{"name": [...]}` on one line."""
    return json.dumps({name: items})
