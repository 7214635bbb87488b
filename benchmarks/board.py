"""Queries and pages over a large store: 2,000 trays with 100 days each in SQLite, times and sizes printed.

    OMP_NUM_THREADS=1 python -m benchmarks.board --trays 2000 --days 100

Readings are invented and written straight into the tables; cells are those of the newest day only, since no query of
the board, the lists or a tray's page reads older ones but by their reading's key.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
from sqlalchemy import Connection, insert
from starlette.testclient import TestClient

from canopy.measure.columns import TRAY_COLUMNS
from canopy.records import cell_name
from canopy.store.database import opened
from canopy.store.newest import cells_in_short, history_of, latest, latest_of, reading_of
from canopy.store.notebook import cut_cells, grams_cut, last_notes, words_about
from canopy.store.schema import CELLS, PHOTOS, READINGS
from canopy.store.snaps import recent
from canopy.web.app import make_app
from canopy.web.serve import Door, site_for

ROWS, COLUMNS = 6, 12
LAST = date(2026, 5, 6)
QUERY_MS_MAX, PAGE_KB_MAX, PAGE_S_MAX = 100, 500, 1.0


def _tray(number: int) -> str:
    return f"R{number // 40 + 1}-{number % 40 + 1:02d}"


def _readings(trays: int, days: int, rng: np.random.Generator) -> Iterator[dict[str, object]]:
    for day in range(days):
        taken = (LAST - timedelta(days=days - 1 - day)).isoformat() + "T05:40:00"
        for tray in range(trays):
            number = day * trays + tray + 1
            evenness = float(rng.uniform(40, 95))
            yield {
                **{column.name: None for column in TRAY_COLUMNS}, "id": number, "photo_sha256": f"{number:064x}",
                "made_with": "drawn", "fingerprint": "drawn", "version": "0", "recorded_at": taken,
                "photo": f"{_tray(tray)}_{day}.jpg", "tray": _tray(tray), "taken_at": taken, "quality": "good",
                "cells": ROWS * COLUMNS, "planted": 68, "ready": int(rng.integers(0, 30)), "evenness": evenness,
                "pattern": "row A is smaller than the others", "decision": "wait", "mean_area_mm2": 900.0,
            }  # fmt: skip


def fill(connection: Connection, *, trays: int, days: int) -> None:
    """Write invented readings."""
    rng = np.random.default_rng(1)
    batch: list[dict[str, object]] = []
    for row in _readings(trays, days, rng):
        batch.append(row)
        if len(batch) == trays:
            _put(connection, batch)
            batch = []
    cells = []
    for reading in range((days - 1) * trays + 1, days * trays + 1):
        for place in range(ROWS * COLUMNS):
            row, col = divmod(place, COLUMNS)
            ready = rng.random() < 0.15
            cells.append({
                "reading_id": reading, "position": place, "row": row + 1, "col": col + 1,
                "cell": cell_name(row + 1, col + 1), "state": "planted", "area_mm2": float(rng.lognormal(6.8, 0.4)),
                "readiness": float(rng.uniform(20, 99)), "decision": "transplant" if ready else "wait",
            })  # fmt: skip
        if len(cells) > 20_000:
            connection.execute(insert(CELLS), cells)
            cells = []
    if cells:
        connection.execute(insert(CELLS), cells)


def _put(connection: Connection, batch: list[dict[str, object]]) -> None:
    photos = [
        {"sha256": row["photo_sha256"], "path": row["photo"], "size": 1, "mtime_ns": 0, "state": "read",
         "tried_with": ""}
        for row in batch
    ]  # fmt: skip
    connection.execute(insert(PHOTOS), photos)
    connection.execute(insert(READINGS), batch)


def queries(connection: Connection, *, trays: int, days: int) -> dict[str, Callable[[], object]]:
    """Everything that pages ask the store for."""
    newest = list(range((days - 1) * trays + 1, (days - 1) * trays + 41))
    return {
        "newest reading of every tray": lambda: latest(connection),
        "last notes of every tray": lambda: last_notes(connection, [_tray(k) for k in range(trays)]),
        "cells of 40 trays": lambda: cells_in_short(connection, newest),
        "newest reading of one tray": lambda: latest_of(connection, _tray(7)),
        "one reading with its tables": lambda: reading_of(connection, newest[0]),
        "a tray's last 12 days": lambda: history_of(connection, _tray(7), most=12),
        "corrections of a tray": lambda: words_about(connection, _tray(7)),
        "cut cells of a tray": lambda: cut_cells(connection, _tray(7), since="2026-05-01"),
        "grams of a day": lambda: grams_cut(connection, on="2026-05-06"),
        "photos sent last": lambda: recent(connection, most=12),
    }


def _median_ms(work: Callable[[], object], *, repeat: int) -> float:
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        work()
        times.append(1000 * (time.perf_counter() - start))
    return statistics.median(times)


def _farm(folder: Path, trays: int) -> None:
    lines = [f"{_tray(k)}_*.jpg,{_tray(k)},72,butterhead,seedling,2026-04-21" for k in range(trays)]
    text = "photo,tray,layout,crop,stage,sown_on\n" + "\n".join(lines) + "\n"
    (folder / "trays.csv").write_text(text, encoding="utf-8")
    (folder / "canopy.toml").write_text("[web]\nworkers = 1\n", encoding="utf-8")


def main() -> int:
    """Fill a store, time every query and every page; 1 when one is too slow or too large."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trays", type=int, default=2000)
    parser.add_argument("--days", type=int, default=100)
    parser.add_argument("--repeat", type=int, default=5)
    given = parser.parse_args()
    wrong = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _farm(folder, given.trays)
        with opened(str(folder / "canopy.db"), busy_timeout_s=30, make=True) as store:
            with store.writing() as connection:
                fill(connection, trays=given.trays, days=given.days)
            print(f"{given.trays} trays, {given.days} days, {given.trays * given.days} readings")
            with store.reading() as connection:
                for words, work in queries(connection, trays=given.trays, days=given.days).items():
                    took = _median_ms(work, repeat=given.repeat)
                    wrong += took > QUERY_MS_MAX
                    print(f"query  {took:8.1f} ms              {words}")
        wrong += _pages(folder, given)
    return int(wrong > 0)


def _pages(folder: Path, given: argparse.Namespace) -> int:
    wrong = 0
    with site_for(folder, door=Door()) as site:
        site.clock = lambda: datetime(2026, 5, 6, 8, tzinfo=UTC)
        with TestClient(make_app(site, hosts=None)) as client:
            for path in ("/board", "/board?rack=R3&crop=Butterhead+lettuce%2C+seedling", "/board?age_from=14&part=9",
                         "/today?rack=R3", "/snap", "/what-if"):  # fmt: skip
                answer = client.get(path)
                assert answer.status_code == 200, path
                took = _median_ms(lambda path=path: client.get(path), repeat=given.repeat)
                size = len(answer.content) / 1000
                wrong += took > 1000 * PAGE_S_MAX or size > PAGE_KB_MAX
                print(f"page   {took:8.1f} ms  {size:6.0f} kB   {path}")
    return wrong


if __name__ == "__main__":
    raise SystemExit(main())
