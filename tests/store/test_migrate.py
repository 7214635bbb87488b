"""The steps lead to the tables that the program knows, on both databases, and back."""

from __future__ import annotations

from importlib.resources import files

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect, text

from canopy.errors import StoreError
from canopy.store.database import opened
from canopy.store.migrate import bring_up_to_date, go_to, version_of
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
