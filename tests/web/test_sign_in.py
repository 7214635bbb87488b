"""Who gets in, and what nobody sees before."""

from __future__ import annotations

from datetime import timedelta

import pytest
from argon2 import PasswordHasher

from canopy.store import people
from canopy.web.passwords import LANES, MEMORY_KIB, PASSES, hashed, is_right
from canopy.web.routes.sign import _own_place

from .farm import NOW, PINS

PAGES = ("/", "/snap", "/snaps/none", "/readings/1", "/readings/1/cells/A1", "/readings/1/set-right", "/tray?id=R1-01",
         "/readings/1/corners", "/today", "/board", "/board/compare", "/board.csv", "/what-if")  # fmt: skip
PICTURES = ("/pictures/1.jpg", "/photos/1.jpg", "/snaps/none/photo.jpg")
PARTS = ("/api/v1/trays", "/api/v1/openapi.json", "/api/v1/cells?tray=R1-01", "/api/v1/picks?tray=R1-01")


@pytest.mark.parametrize("path", [*PAGES, *PICTURES])
def test_nobody_is_sent_to_the_sign_in_and_shown_nothing(nobody, path):
    answer = nobody.get(path)
    assert (answer.status_code, answer.content) == (303, b"")
    assert answer.headers["location"].startswith("/sign-in")


@pytest.mark.parametrize("path", PARTS)
def test_programs_without_a_token_are_refused(nobody, path):
    answer = nobody.get(path)
    assert answer.status_code == 401
    assert set(answer.json()) == {"detail"}


@pytest.mark.parametrize(
    "path",
    ["/snap", "/snaps/none", "/today/cut", "/today/grams", "/board/seen", "/what-if", "/readings/1/cell",
     "/readings/1/corners", "/readings/1/strokes", "/readings/1/sown", "/snaps/none/corners", "/api/v1/harvests"],
)  # fmt: skip
def test_nobody_may_change_anything(nobody, path):
    assert nobody.fill(path, page="/sign-in", tray="R1-01", cell="A2").status_code in (401, 403)


def test_sign_in_leads_to_where_one_wanted_to_go(nobody):
    answer = nobody.get("/tray?id=R1-01")
    assert answer.headers["location"] == "/sign-in?to=%2Ftray%3Fid%3DR1-01"
    page = nobody.get(answer.headers["location"])
    assert 'name="to" value="/tray?id=R1-01"' in page.text
    done = nobody.fill("/sign-in", page="/sign-in", name="ana", pin=PINS["ana"][1], to="/tray?id=R1-01")
    assert done.headers["location"] == "/tray?id=R1-01"


@pytest.mark.parametrize("to", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:alert(1)", ""])
def test_sign_in_leads_nowhere_else(to):
    assert _own_place(to) == "/"


def test_cookie_is_closed_to_scripts_and_other_sites(nobody):
    answer = nobody.fill("/sign-in", page="/sign-in", name="ana", pin=PINS["ana"][1])
    cookie = answer.headers["set-cookie"].lower()
    assert all(word in cookie for word in ("httponly", "samesite=strict", "path=/"))


def test_session_is_a_new_one_after_the_sign_in(nobody):
    """Fixation: whoever planted the cookie before the sign-in has nothing of it afterwards."""
    nobody.get("/sign-in")
    planted = nobody.cookies["canopy_session"]
    nobody.fill("/sign-in", page="/sign-in", name="ana", pin=PINS["ana"][1])
    assert nobody.cookies["canopy_session"] != planted
    nobody.cookies.clear()
    nobody.cookies.set("canopy_session", planted)
    assert nobody.get("/snap").status_code == 303


@pytest.mark.parametrize(
    "change", [lambda c: c[:-9] + ("A" if c[-9] != "A" else "B") + c[-8:], lambda c: "x" + c, lambda c: ""]
)
def test_a_cookie_that_was_changed_is_nobodys(sign_in, nobody, change):
    nobody.cookies.set("canopy_session", change(sign_in("ana").cookies["canopy_session"]))
    assert nobody.get("/snap").status_code == 303


def test_sign_out_ends_the_session_for_whoever_has_the_cookie(nobody):
    nobody.fill("/sign-in", page="/sign-in", name="ana", pin=PINS["ana"][1])
    cookie = nobody.cookies["canopy_session"]
    assert nobody.get("/snap").status_code == 200
    assert nobody.fill("/sign-out").headers["location"] == "/sign-in"
    nobody.cookies.clear()
    nobody.cookies.set("canopy_session", cookie)
    assert nobody.get("/snap").status_code == 303


def test_sessions_end_by_themselves(nobody, site, monkeypatch):
    nobody.fill("/sign-in", page="/sign-in", name="ana", pin=PINS["ana"][1])
    later = NOW + timedelta(hours=site.settings.session_hours, seconds=1)
    monkeypatch.setattr(site, "clock", lambda: later)
    assert nobody.get("/snap").status_code == 303


def _add(site, name, **fields):
    with site.store.writing() as connection:
        secret = hashed("a good secret", length_min=6)
        people.put_person(connection, people.Person(name, "crew", secret, NOW.isoformat(), **fields))


def test_wrong_pins_lock_a_name_and_the_right_one_no_longer_opens(nobody, site, monkeypatch):
    _add(site, "dora")
    for _ in range(site.settings.failures_max):
        answer = nobody.fill("/sign-in", page="/sign-in", name="dora", pin="wrong one")
        assert answer.status_code == 403
        assert "do not go together" in answer.text
    assert nobody.fill("/sign-in", page="/sign-in", name="dora", pin="a good secret").status_code == 403
    later = NOW + timedelta(seconds=site.settings.lock_s + 1)
    monkeypatch.setattr(site, "clock", lambda: later)
    assert nobody.fill("/sign-in", page="/sign-in", name="dora", pin="a good secret").status_code == 303
    with site.store.reading() as connection:
        words = [(deed.what, deed.by) for deed in people.deeds(connection, most=10)]
    assert ("sign-in failed", "dora") in words
    assert ("sign-in refused: locked", "dora") in words


def test_a_person_who_was_removed_stays_out(nobody, site):
    _add(site, "emil", active=False)
    assert nobody.fill("/sign-in", page="/sign-in", name="emil", pin="a good secret").status_code == 403


def test_one_address_may_try_so_often_and_no_more(nobody, site, app, monkeypatch):
    from canopy.web.routes.sign import Tries

    app.state.tries = Tries()
    monkeypatch.setattr("canopy.web.routes.sign._checked", lambda *_: (None, "no"))
    seen = [nobody.fill("/sign-in", page="/sign-in", name="x", pin="y").status_code
            for _ in range(site.settings.address_tries_max + 1)]  # fmt: skip
    assert seen == [403] * site.settings.address_tries_max + [429]
    app.state.tries = Tries()


def test_an_unknown_name_is_told_the_same_as_a_wrong_pin(nobody):
    known = nobody.fill("/sign-in", page="/sign-in", name="bo", pin="wrong one")
    unknown = nobody.fill("/sign-in", page="/sign-in", name="nobody at all", pin="wrong one")
    assert known.status_code == unknown.status_code == 403
    assert known.text.split("<form")[0] == unknown.text.split("<form")[0]


def test_hashes_cost_what_the_standard_recommends():
    # RFC 9106, section 4: "t=3 iterations, p=4 lanes, m=2^(16) (64 MiB of RAM)".
    hasher = PasswordHasher(time_cost=PASSES, memory_cost=MEMORY_KIB, parallelism=LANES)
    assert hasher.hash("x" * 8).startswith("$argon2id$v=19$m=65536,t=3,p=4$")


def test_pins_are_kept_as_argon2id_only(site):
    with site.store.reading() as connection:
        kept = {person.name: person.secret for person in people.people(connection)}
    assert kept["ana"].startswith("$argon2id$")
    assert PINS["ana"][1] not in kept["ana"]
    assert is_right(PINS["ana"][1], kept["ana"])
    assert not is_right(PINS["ana"][1], None)


@pytest.mark.parametrize("pin", ["12345", "123456", "111111", "121212", "Password", "x" * 201])
def test_pins_that_are_easy_are_refused(pin):
    from canopy.errors import UsageError

    with pytest.raises(UsageError, match="PIN: "):
        hashed(pin, length_min=6)


@pytest.mark.parametrize(
    ("name", "path", "status"),
    [("ana", "/board", 403), ("ana", "/what-if", 403), ("ana", "/board.csv", 403), ("bo", "/board", 200),
     ("bo", "/what-if", 200), ("cleo", "/what-if", 200), ("ana", "/today", 200)],
)  # fmt: skip
def test_roles_see_what_is_theirs(sign_in, name, path, status):
    assert sign_in(name).get(path).status_code == status


def test_only_admins_save_recipes(qa):
    fields = {"tray": "R1-01", "size.target": "900"}
    assert qa.post("/what-if", data={"csrf": qa.csrf(), **fields}).status_code == 403
