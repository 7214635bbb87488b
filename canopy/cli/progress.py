"""A progress bar where a person watches; nothing anywhere else."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Progress = Callable[[int, int], None]
"""Called with the number of photos done and their total."""


@contextmanager
def shown_progress(*, quiet: bool) -> Iterator[Progress]:
    """A function to call after each photo; draws a bar on standard error when that is a terminal."""
    if quiet or not sys.stderr.isatty():
        yield lambda done, total: None  # noqa: ARG005
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("photos"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("photos", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
