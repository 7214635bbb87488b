"""Starting: safe unless told otherwise; people and tokens from the command line."""

from __future__ import annotations

import hashlib
import shutil

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner

from canopy.cli.app import app
from canopy.errors import UsageError
from canopy.store import people
from canopy.store.database import opened
from canopy.web.app import make_app
from canopy.web.farm import Farm
from canopy.web.serve import LOOPBACK_NAMES, Door, addresses, is_loopback, site_for

RUN = CliRunner()


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "trays.csv").write_text("photo,tray,layout\n,R1,72\n", encoding="utf-8")
    (tmp_path / "canopy.toml").write_text("[web]\nworkers = 1\n", encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("host", "alone"),
    [("127.0.0.1", True), ("127.3.2.1", True), ("::1", True), ("localhost", True), ("0.0.0.0", False), ("::", False),
     ("192.168.1.5", False), ("farm.example", False)],
)  # fmt: skip
def test_which_addresses_only_this_machine_reaches(host, alone):
    assert is_loopback(host) == alone
    assert Door(host).beyond_this_machine != alone


def test_beyond_this_machine_somebody_must_be_able_to_sign_in(folder):
    for door in (Door("0.0.0.0"), Door(behind_proxy=True)):
        with pytest.raises(UsageError, match="canopy people add"), site_for(folder, door=door):
            pass


def test_on_this_machine_alone_nobody_need_sign_in_until_there_are_people(folder):
    with site_for(folder, door=Door()) as site:
        assert site.open_to_all
        with TestClient(make_app(site, hosts=LOOPBACK_NAMES), base_url="http://localhost") as client:
            assert client.get("/snap").status_code == 200
            assert client.get("/snap", headers={"host": "evil.example"}).status_code == 400
            # Even here a form needs its token.
            assert (
                client.post("/today/cut", data={"tray": "R1", "tick": "A1 yes", "key": "k-1234567"}).status_code == 403
            )
            _add(folder, "ana", "481516")  # while it runs
            answer = client.get("/snap", follow_redirects=False)
            assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in?to=%2Fsnap")
    with site_for(folder, door=Door()) as site:
        assert not site.open_to_all


def test_a_warning_where_nothing_is_encrypted(tmp_path):
    assert Door("0.0.0.0").warnings
    assert not Door().warnings
    assert not Door("0.0.0.0", behind_proxy=True).warnings
    certificate = tmp_path / "c.pem"
    certificate.touch()
    assert not Door("0.0.0.0", certificate=certificate, key=certificate).warnings
    assert addresses(Door("farm.example", 443, certificate, certificate)) == ["https://farm.example:443/"]
    assert addresses(Door("::1")) == ["http://[::1]:8080/"]


def test_half_a_certificate_is_refused(tmp_path):
    with pytest.raises(UsageError, match="give both"):
        Door(certificate=tmp_path).checked()
    with pytest.raises(UsageError, match="no such file"):
        Door(certificate=tmp_path / "none", key=tmp_path / "none").checked()


def _add(folder, name, pin, *options):
    return RUN.invoke(app, ["people", "add", str(folder), name, *options], input=f"{pin}\n")


def test_people_are_added_listed_and_removed(folder):
    assert _add(folder, "ana", "481516", "--role", "qa").output == "Added: ana, qa\n"
    assert "may sign in" in RUN.invoke(app, ["people", "list", str(folder)]).output
    assert RUN.invoke(app, ["people", "remove", str(folder), "ana"]).output == "Removed: ana\n"
    told = RUN.invoke(app, ["people", "list", str(folder), "--json"]).output
    assert '"active": false' in told
    with opened(str(folder / "canopy.db"), busy_timeout_s=5) as store, store.reading() as connection:
        assert [deed.what for deed in people.deeds(connection, most=9)] == ["person removed", "person added"]


def test_the_log_says_who_did_what(folder):
    _add(folder, "ana", "481516")
    with opened(str(folder / "canopy.db"), busy_timeout_s=5) as store, store.writing() as connection:
        people.note(connection, people.Deed("2026-05-04", "\x1b[2Jnobody\nelse", "sign-in failed"))
    lines = RUN.invoke(app, ["people", "log", str(folder)]).output.splitlines()
    assert len(lines) == 3
    assert "\x1b" not in lines[1]  # whoever tries to sign in chooses this text
    assert "person added" in lines[2]
    assert "ana crew" in lines[2]


def test_easy_pins_and_unknown_people_are_refused(folder):
    assert isinstance(_add(folder, "ana", "123456").exception, UsageError)
    assert isinstance(RUN.invoke(app, ["people", "remove", str(folder), "bo"]).exception, UsageError)
    assert isinstance(_add(folder / "none", "ana", "481516").exception, UsageError)


def test_a_token_is_shown_once_and_kept_as_a_checksum(folder):
    options = ["--scope", "read", "--scope", "harvest"]
    text = RUN.invoke(app, ["people", "token", str(folder), "erp", *options]).output.strip()
    with opened(str(folder / "canopy.db"), busy_timeout_s=5) as store, store.reading() as connection:
        token = people.token_of(connection, hashlib.sha256(text.encode()).hexdigest())
    assert token.scopes == "read harvest"
    assert text.encode() not in (folder / "canopy.db").read_bytes()


def test_serve_tells_what_is_missing(folder, monkeypatch):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    result = RUN.invoke(app, ["serve", str(folder)])
    assert "install canopy with its extra `web`" in str(result.exception)


def test_what_holds_for_a_camera_holds_for_its_photos_only(folder):
    lines = "photo,tray,layout,camera_height_mm,corners\nrack1_*.jpg,R1,72,800,1 2 900 2 900 500 1 500\n"
    (folder / "trays.csv").write_text(lines, encoding="utf-8")
    rules = Farm(folder).rules
    night = rules.tray_of("R1", path="rack1_monday.jpg").record
    assert (night.camera_height_mm, night.corners_px[2]) == (800, (900, 500))
    for path in ("snaps/0.jpg", "elsewhere.jpg"):
        by_hand = rules.tray_of("R1", path=path).record
        assert (by_hand.camera_height_mm, by_hand.corners_px) == (None, None)
    assert rules.tray_of("R9", path="rack1_monday.jpg") is None


def test_a_changed_tray_list_is_read_again_and_a_broken_one_told(folder):
    with site_for(folder, door=Door()) as site:
        assert list(site.farm.rules.trays) == ["R1"]
        (folder / "trays.csv").write_text("photo,tray,layout\n,R1,72\n,R2,72\n", encoding="utf-8")
        assert list(site.farm.rules.trays) == ["R1", "R2"]
        (folder / "trays.csv").write_text("no,such,columns\n", encoding="utf-8")
        assert list(site.farm.rules.trays) == ["R1", "R2"]
        assert site.farm.rules.problems
    shutil.rmtree(folder / "snaps")
