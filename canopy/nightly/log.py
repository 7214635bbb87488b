"""The log of passes: one JSON object a line, each line written whole."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from canopy.nightly.when import utc_text


@dataclass
class Log:
    """Where events are noted; a log that cannot be written stops nothing.

    Attributes
    ----------
    path : pathlib.Path or None
        None: nothing is noted.
    clock : callable
        Nanoseconds since 1970.
    problem : str
        Why it could not be written; empty when it could.
    """

    path: Path | None
    clock: Callable[[], int]
    problem: str = ""

    def note(self, event: str, **facts: Any) -> None:
        """Note an event.

        The file is opened for each line, so that whoever rotates logs may rename it at any time.
        """
        if self.path is None or self.problem:
            return
        line = json.dumps({"at": utc_text(self.clock()), "event": event, **facts}) + "\n"
        try:
            file = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o644)
            try:
                os.write(file, line.encode())
            finally:
                os.close(file)
        except OSError as error:
            self.problem = (
                f"{self.path}: cannot be written ({error.strerror}); nothing more is noted there in this pass"
            )
