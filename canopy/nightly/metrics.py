"""Figures of the last pass and of the store as a Prometheus text file, written whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from canopy.store import ledger
from canopy.store.database import Store


@dataclass(frozen=True)
class Metric:
    """One figure, or the same figure for several labels.

    Attributes
    ----------
    name, help : str
    values : sequence of (dict, float)
        Labels and value.
    """

    name: str
    help: str
    values: Sequence[tuple[dict[str, str], float]]


def of_store(store: Store) -> list[Metric]:
    """What the store holds."""
    with store.reading() as connection:
        states, reasons = ledger.counts(connection)
    return [
        Metric("canopy_photos", "Photos in the store by what became of them.", _labelled("state", states)),
        Metric("canopy_photos_set_aside", "Photos set aside now, by reason.", _labelled("reason", reasons)),
    ]


def write_metrics(path: Path, metrics: Sequence[Metric]) -> None:
    """Write all figures into a file that is seen whole or not at all.

    Raises
    ------
    OSError
        It cannot be written.
    """
    # Its name does not end in .prom, so that nobody reads it before it is whole.
    part = path.with_name(f"{path.name}.part")
    part.write_text("".join(_text(metric) for metric in metrics), encoding="utf-8", newline="\n")
    part.replace(path)


def _labelled(label: str, counts: dict[str, int]) -> list[tuple[dict[str, str], float]]:
    return [({label: name}, count) for name, count in sorted(counts.items())]


def _text(metric: Metric) -> str:
    """As of the text exposition format 0.0.4: help, type, one line a value."""
    lines = [f"# HELP {metric.name} {metric.help}", f"# TYPE {metric.name} gauge"]
    for labels, value in metric.values:
        shown = ",".join(f'{name}="{_escaped(text)}"' for name, text in labels.items())
        lines.append(f"{metric.name}{'{' + shown + '}' if shown else ''} {value:.15g}")
    return "\n".join(lines) + "\n"


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace("\n", "\\n").replace('"', '\\"')
