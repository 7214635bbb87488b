from __future__ import annotations

import pytest

from .drawn_farm import make_farm


@pytest.fixture(scope="session")
def made_farm(tmp_path_factory):
    """A farm that no test may write to."""
    return make_farm(tmp_path_factory.mktemp("farm") / "photos")


@pytest.fixture
def farm(tmp_path):
    """A farm of one's own."""
    return make_farm(tmp_path / "photos")
