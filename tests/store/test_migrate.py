"""The steps lead to the tables that the program knows, on both databases, and back."""

from __future__ import annotations

from importlib.resources import files

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import column, insert, inspect, select, table, text

from canopy.errors import StoreError
from canopy.store.database import opened
from canopy.store.migrate import bring_up_to_date, go_to, version_of
from canopy.store.readings import table as read_table
from canopy.store.schema import METADATA, VERSION


def test_the_steps_make_the_tables_as_they_are_declared(store):
    with store.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []
        assert version_of(connection, name="store") == VERSION


def test_the_last_step_is_the_version_that_is_asked_for():
    config = Config()
    config.set_main_option("script_location", str(files("canopy.store") / "migrations"))
    assert ScriptDirectory.from_config(config).get_current_head() == VERSION


def test_down_and_up_again(store):
    with store.writing() as connection:
        go_to(connection, "base")
        assert inspect(connection).get_table_names() == ["alembic_version"]
        bring_up_to_date(connection, name="store")
        assert set(METADATA.tables) < set(inspect(connection).get_table_names())


FIRST = "0001"
# One row of each table of the first version, written out: the tables of today may have other columns.
ROWS = {
    "photos": {"sha256": "ab", "path": "a.jpg", "size": 9_000_000_000, "mtime_ns": 1, "state": "read",
               "tried_with": "t"},
    "files": {"folder": "", "name": "a.jpg", "size": 1, "mtime_ns": -1, "sha256": "ab", "reason": "é"},
    "folders": {"folder": "r/1", "listing": "x", "waits_on": ""},
    "readings": {"id": 7, "photo_sha256": "ab", "made_with": "m", "fingerprint": "f", "version": "0.1.0",
                 "recorded_at": "2026-03-20T04:00:00+00:00", "photo": "a.jpg", "tray": "T", "cells": 1, "planted": 1,
                 "gini": 0.1 + 0.2},
    "cells": {"reading_id": 7, "position": 0, "row": 1, "col": 1, "cell": "A1", "area_mm2": 1 / 3},
    "criteria": {"reading_id": 7, "position": 0, "cell": "A1", "criterion": "size", "withheld": True},
    "remarks": {"reading_id": 7, "position": 0, "code": "dark", "text": "t", "cell": ""},
    "corrections": {"id": 1, "recorded_at": "r", "by": "b", "photo_sha256": "ab", "tray": "T", "cell": "A1",
                    "column": "state", "value": "empty", "note": ""},
    "harvests": {"id": 1, "recorded_at": "r", "by": "b", "tray": "T", "cell": "", "harvested_on": "2026-03-20",
                 "heads": 3, "weight_g": 0.7, "note": ""},
}  # fmt: skip


def _rows(connection):
    """Every row of the tables of the first version, in the columns that were written."""
    wanted = {name: select(*(column(key) for key in row)).select_from(table(name)) for name, row in ROWS.items()}
    return {name: [dict(row._mapping) for row in connection.execute(of)] for name, of in wanted.items()}


def test_upgrade_from_the_first_version_and_back_keeps_every_row(store):
    with store.writing() as connection:
        go_to(connection, "base")
        go_to(connection, FIRST)
        for name, row in ROWS.items():
            connection.execute(insert(table(name, *(column(key) for key in row))).values(row))
        before = _rows(connection)
        assert {name: rows[0] for name, rows in before.items()} == ROWS
    with store.writing() as connection:
        bring_up_to_date(connection, name="store")
        assert version_of(connection, name="store") == VERSION
        assert _rows(connection) == before
        assert read_table(connection, "cells")["area_mm2"].tolist() == [1 / 3]
    with store.writing() as connection:
        go_to(connection, FIRST)
        assert _rows(connection) == before
        assert set(inspect(connection).get_table_names()) == {*ROWS, "alembic_version"}


def test_what_people_recorded_stays_protected_after_an_upgrade(store):
    with store.writing() as connection:
        go_to(connection, "base")
        go_to(connection, FIRST)
        connection.execute(insert(table("harvests", *map(column, ROWS["harvests"]))).values(ROWS["harvests"]))
        go_to(connection, "head")
    with pytest.raises(StoreError, match="rows are only ever added here"), store.writing() as connection:
        connection.execute(text("DELETE FROM harvests"))


def test_a_step_that_fails_leaves_nothing(place, monkeypatch):
    def fail(connection, version):
        go_to(connection, version)
        raise ZeroDivisionError

    monkeypatch.setattr("canopy.store.migrate.go_to", fail)
    with pytest.raises(ZeroDivisionError), opened(place, busy_timeout_s=5, make=True):
        pass
    monkeypatch.undo()
    with pytest.raises(StoreError, match="holds no store"), opened(place, busy_timeout_s=5):
        pass


def _set_version(store, version):
    with store.writing() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = :version"), {"version": version})


@pytest.mark.parametrize("make", [True, False])
def test_a_newer_store_is_left_alone(store, place, make):
    _set_version(store, "9999")
    said = r"newer canopy \(tables 9999, known here \d{4}\); upgrade canopy"
    with pytest.raises(StoreError, match=said), opened(place, busy_timeout_s=5, make=make):
        pass


def test_an_older_store_is_not_read_before_it_is_brought_up_to_date(store, place):
    _set_version(store, "0000")
    said = "older canopy; run `canopy nightly FOLDER` once"
    with pytest.raises(StoreError, match=said), opened(place, busy_timeout_s=5):
        pass
