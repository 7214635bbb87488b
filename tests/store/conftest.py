"""Every test of the store runs on both databases."""

from __future__ import annotations

import pytest

from canopy.store.database import opened

from .postgres import own_schema, server


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request, tmp_path):
    """Where a new store may be made."""
    if request.param == "sqlite":
        yield str(tmp_path / "canopy.db")
        return
    with own_schema(server()) as url:
        yield url


@pytest.fixture
def store(place):
    with opened(place, busy_timeout_s=5, make=True) as store:
        yield store
