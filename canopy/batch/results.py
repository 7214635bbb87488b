"""The folder of results: tables written as outcomes come in, report and run file at the end."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import IO, Any

import pandas as pd

from canopy import __version__
from canopy.batch.folder import RUN_FILE
from canopy.batch.job import Done, Outcome, SetAside
from canopy.batch.settings_toml import Configuration
from canopy.errors import UsageError
from canopy.measure.columns import CELL_COLUMNS, TRAY_COLUMNS
from canopy.outputs.picks import PICK_COLUMNS, pick_list
from canopy.outputs.report import ReportTray, render_report
from canopy.outputs.tables import header_line, table_lines
from canopy.words import words_in

TABLES: dict[str, tuple[str, ...]] = {
    "cells.csv": tuple(column.name for column in CELL_COLUMNS),
    "trays.csv": tuple(column.name for column in TRAY_COLUMNS),
    "picks.csv": PICK_COLUMNS,
}
REPORT_FILE = "report.html"
SET_ASIDE = "set_aside"
_PART = ".part"


@dataclass
class Results:
    """Writes the results of one run; use it in a `with` block.

    Tables are written under a name ending in `.part` and renamed when the run is complete, so that a half-written
    table is never taken for a whole one.
    """

    out: Path
    configuration: Configuration
    shown: list[ReportTray] = field(default_factory=list)
    set_aside: list[SetAside] = field(default_factory=list)
    readings: int = 0
    picks: int = 0
    top_picks: list[dict[str, Any]] = field(default_factory=list)
    _photos: list[dict[str, Any]] = field(default_factory=list)
    _files: dict[str, IO[str]] = field(default_factory=dict)

    def __enter__(self) -> Results:
        """Open the tables."""
        for name, columns in TABLES.items():
            file = (self.out / (name + _PART)).open("w", encoding="utf-8", errors="surrogateescape", newline="")
            self._files[name] = file
            file.write(header_line(columns))
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the tables; when all went well, write report and run file and give everything its name."""
        for file in self._files.values():
            file.close()
        if kind is None:
            self._write(REPORT_FILE, self._report())
            self._write(RUN_FILE, json.dumps(self._run_data(), indent=2) + "\n")
            for name in TABLES:
                (self.out / (name + _PART)).replace(self.out / name)

    def put(self, outcome: Outcome) -> None:
        """Take one outcome: rows of the tables, a part of the report, an entry of the run file."""
        if isinstance(outcome, SetAside):
            self._put_set_aside(outcome)
        else:
            self._put_done(outcome)

    def _put_done(self, done: Done) -> None:
        reading = done.reading
        picks = pick_list(reading)
        for name, table in (("cells.csv", reading.cells), ("trays.csv", reading.trays), ("picks.csv", picks)):
            self._write_rows(name, table)
        self.readings += 1
        self.picks += len(picks)
        self.top_picks = _best([*self.top_picks, *_named(picks)], self.configuration.settings.outputs.top_picks)
        if len(self.shown) < self.configuration.settings.outputs.report_trays_max:
            self.shown.append(ReportTray(reading, picks, done.title, done.cautions, done.picture))
        self._photos.append({"photo": reading.photo, "tray": reading.tray, "stem": done.stem, "status": "read"})

    def _put_set_aside(self, aside: SetAside) -> None:
        self.set_aside.append(aside)
        row = {"photo": aside.photo, "tray": aside.tray or pd.NA, "quality": "refused", "quality_reason": aside.message}
        self._write_rows("trays.csv", pd.DataFrame([row], dtype=object).reindex(columns=list(TABLES["trays.csv"])))
        entry = {"photo": aside.photo, "tray": aside.tray, "stem": None, "status": SET_ASIDE}
        self._photos.append({**entry, "reason": aside.code, "message": aside.message})

    def _write_rows(self, name: str, table: pd.DataFrame) -> None:
        columns = list(TABLES[name])
        if list(table.columns) != columns:
            raise RuntimeError(f"{name}: columns are {list(table.columns)}, promised are {columns}")
        digits = self.configuration.settings.outputs.significant_digits
        self._files[name].write(table_lines(table, significant_digits=digits))

    def _report(self) -> str:
        return render_report(
            self.shown,
            [(aside.photo, aside.code, aside.message) for aside in self.set_aside],
            photos_read=self.readings,
            version=__version__,
            fingerprint=self.configuration.fingerprint,
            look=self.configuration.settings.outputs,
            words=words_in(self.configuration.settings.outputs.language),
        )

    def _run_data(self) -> dict[str, Any]:
        """Everything that explains the tables later; nothing that differs between equal runs."""
        return {
            "tool": "canopy",
            "version": __version__,
            "fingerprint": self.configuration.fingerprint,
            "photos_read": self.readings,
            "photos_set_aside": len(self.set_aside),
            "photos": self._photos,
            **self.configuration.as_data(),
        }

    def _write(self, name: str, text: str) -> None:
        part = self.out / (name + _PART)
        part.write_text(text, encoding="utf-8", errors="surrogateescape", newline="\n")
        part.replace(self.out / name)


def _named(picks: pd.DataFrame) -> list[dict[str, Any]]:
    rows = zip(picks["tray"], picks["cell"], picks["decision"], picks["readiness"], strict=True)
    return [{"tray": t, "cell": c, "decision": d, "readiness": round(float(r), 1)} for t, c, d, r in rows]


def _best(picks: list[dict[str, Any]], number: int) -> list[dict[str, Any]]:
    """The picks of highest readiness; among equals the first in walking order."""
    return sorted(picks, key=lambda pick: -pick["readiness"])[:number]


def prepare_out(out: Path, *, inputs: Sequence[Path], trays: Path | None, folders: Sequence[str]) -> None:
    """Make the folder of results, or say why it cannot be written.

    Raises
    ------
    UsageError
        It is a folder of photos or of the tray list, a file, or cannot be written.
    """
    kept = {path.resolve() if path.is_dir() else path.resolve().parent for path in inputs}
    kept |= {trays.resolve().parent} if trays is not None else set()
    if out.resolve() in kept:
        raise UsageError(f"{out}: --out is the folder of the photos or of the tray list; give a folder of its own")
    try:
        for folder in (out, *(out / name for name in folders)):
            folder.mkdir(parents=True, exist_ok=True)
        probe = out / f"{RUN_FILE}{_PART}"
        probe.touch()
        probe.unlink()
    except (FileExistsError, NotADirectoryError):
        raise UsageError(f"{out}: --out is a file or lies below one; give a folder") from None
    except OSError as error:
        message = f"{out}: cannot be written ({error.strerror}); choose another --out or change its rights"
        raise UsageError(message) from None
