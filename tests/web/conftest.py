"""One farm, measured once, and one page on it, for all tests of this room in a process."""

from __future__ import annotations

import re
import shutil

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from canopy.web import passwords
from canopy.web.app import make_app

from .farm import PINS, labelled_photo, measured_farm, opened_site


@pytest.fixture(scope="session", autouse=True)
def _quick_hashes():
    """Hashes that cost little: how much the real ones cost is a test of its own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "_HASHER", PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
        yield


@pytest.fixture(scope="session")
def measured(tmp_path_factory):
    return measured_farm(tmp_path_factory.mktemp("web") / "farm")


@pytest.fixture(scope="session")
def photo():
    return labelled_photo()


@pytest.fixture(scope="session")
def site(measured, tmp_path_factory):
    folder = tmp_path_factory.mktemp("signed") / "farm"
    shutil.copytree(measured, folder)
    with opened_site(folder, with_people=True) as site:
        yield site


@pytest.fixture(scope="session")
def app(site):
    app = make_app(site, hosts=None)
    with TestClient(app) as client:  # starts and ends the line of photos
        assert client.get("/static/x/page.css").status_code == 200
        yield app


class Visitor(TestClient):
    """A browser of one person, without scripts."""

    def csrf(self, path="/snap"):
        return re.search(r'name="csrf" value="([0-9a-f]{64})"', self.get(path).text)[1]

    def fill(self, path, *, page="/snap", files=None, headers=None, **fields):
        return self.post(path, data={"csrf": self.csrf(page), **fields}, files=files, headers=headers)


@pytest.fixture
def nobody(app):
    return Visitor(app, follow_redirects=False)


def _signed_in(app, name):
    client = Visitor(app, follow_redirects=False)
    answer = client.fill("/sign-in", page="/sign-in", name=name, pin=PINS[name][1])
    assert answer.status_code == 303
    return client


@pytest.fixture(scope="session")
def sign_in(app):
    known = {}

    def sign_in(name):
        if name not in known:
            known[name] = _signed_in(app, name)
        return known[name]

    return sign_in


@pytest.fixture
def crew(sign_in):
    return sign_in("ana")


@pytest.fixture
def qa(sign_in):
    return sign_in("bo")


@pytest.fixture
def admin(sign_in):
    return sign_in("cleo")
