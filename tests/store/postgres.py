"""Where tests find a PostgreSQL server, and a schema of their own on it."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from sqlalchemy import create_engine, make_url

PLACE = "CANOPY_TEST_POSTGRES"
IN_EARNEST = "CANOPY_SKIP_NOTHING"
"""Set where a change is checked before it lands: there a server that is absent is a failure."""

HOW = (
    f"{PLACE} names no PostgreSQL server; with PostgreSQL installed, run `export $(.ci/postgres start /tmp/canopy_pg)`"
)


def server() -> str:
    """URL of the server; without one the test is passed over, or fails where nothing may be."""
    place = os.environ.get(PLACE)
    if place:
        return place
    if os.environ.get(IN_EARNEST):
        pytest.fail(HOW)
    pytest.skip(HOW)


@contextmanager
def own_schema(place: str) -> Iterator[str]:
    """URL of an empty schema on the server, dropped at the end, so that tests run side by side."""
    name = f"test_{uuid.uuid4().hex}"
    url = make_url(place).set(drivername="postgresql+psycopg")
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    try:
        with engine.connect() as connection:
            connection.exec_driver_sql(f"CREATE SCHEMA {name}")
        yield url.update_query_dict({"options": f"-csearch_path={name}"}).render_as_string(hide_password=False)
        with engine.connect() as connection:
            connection.exec_driver_sql(f"DROP SCHEMA {name} CASCADE")
    finally:
        engine.dispose()
