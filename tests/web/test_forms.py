"""Forms that come from elsewhere, text that would be code, paths that would be files."""

from __future__ import annotations

import pytest

from canopy.store.logbook import corrections, harvests
from canopy.web.guard import CONTENT_POLICY

NASTY = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)> OR 1=1; DROP TABLE readings; --"


@pytest.mark.parametrize("csrf", ["", "0" * 64, "ü"])
@pytest.mark.parametrize("path", ["/today/cut", "/readings/1/cell", "/readings/1/sown", "/snap", "/sign-out"])
def test_a_form_without_its_token_does_nothing(crew, site, path, csrf):
    fields = {"csrf": csrf, "tray": "R1-01", "tick": "A3 yes", "cell": "A3", "key": "k-12345678", "state": "empty"}
    assert crew.post(path, data=fields).status_code == 403
    with site.store.reading() as connection:
        assert "A3" not in set(corrections(connection)["cell"])
        assert "A3" not in set(harvests(connection)["cell"])


def test_the_token_of_another_session_does_nothing(crew, qa):
    assert crew.post("/today/cut", data={"csrf": qa.csrf()}).status_code == 403


def test_a_form_of_another_site_does_nothing_even_with_the_token(crew):
    answer = crew.fill(
        "/today/cut", tray="R1-01", cell="A3", key="k-12345678", headers={"sec-fetch-site": "cross-site"}
    )
    assert answer.status_code == 403


def test_policy_lets_nothing_in_from_elsewhere_and_nothing_inline(crew):
    answer = crew.get("/readings/1")
    policy = answer.headers["content-security-policy"]
    assert policy == CONTENT_POLICY
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"


def test_pages_hold_no_inline_script_or_style(crew, qa):
    for client, path in [(crew, "/snap"), (crew, "/readings/1"), (crew, "/readings/1/set-right"), (crew, "/today"),
                         (crew, "/readings/1/corners"), (crew, "/tray?id=R1-01"), (qa, "/board"),
                         (qa, "/what-if")]:  # fmt: skip
        html = client.get(path).text
        assert "<style" not in html
        assert " style=" not in html
        assert html.count("<script") == html.count('<script src="/static/')
        assert " onclick" not in html.lower()


def test_notes_are_shown_as_text(qa):
    assert qa.fill("/board/seen", tray="R1-05", note=NASTY).status_code == 303
    for path in ("/board", "/tray?id=R1-05"):
        html = qa.get(path).text
        assert "<script>alert" not in html
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html


@pytest.mark.parametrize(
    "path",
    ["/tray?id={}", "/snap?tray={}", "/today?rack={}", "/readings/1/cells/{}", "/snaps/{}", "/board?crop={}&rack={}",
     "/board/compare?tray={}&tray={}", "/what-if?tray={}&size.target={}", "/readings/1/set-right?cell={}",
     "/board?age_from={}", "/nowhere/{}", "/static/x/{}"],
)  # fmt: skip
def test_nothing_asked_for_is_run_or_shown_as_code(admin, site, path):
    from urllib.parse import quote

    answer = admin.get(path.replace("{}", quote(NASTY, safe="")))
    assert answer.status_code < 500
    assert "<script>alert" not in answer.text
    assert "<img src=x" not in answer.text
    assert admin.get("/board").status_code == 200  # the tables are still there


@pytest.mark.parametrize("field", ["tray", "tick", "key", "on"])
def test_ticks_take_no_sql(crew, field):
    fields = {"tray": "R1-01", "tick": "A3 yes", "key": "k-sql-12345", "on": "2026-05-06", field: NASTY}
    assert crew.fill("/today/cut", **fields).status_code == 422


@pytest.mark.parametrize(
    "name",
    ["..%2f..%2fcanopy.toml", "%2e%2e/page.css", "..%5cpage.css", "page.css%00", "/etc/passwd", "page.py", "....//x"],
)
def test_static_files_are_those_of_the_page_only(nobody, name):
    answer = nobody.get(f"/static/x/{name}")
    assert answer.status_code == 404
    assert "web" not in answer.text.lower().replace("text", "")


@pytest.mark.parametrize("number", ["0", "-1", "999999", "9999999999999999999999", "1e3", "../1", "1%00"])
def test_no_number_leads_to_a_file(crew, number):
    for path in (f"/pictures/{number}.jpg", f"/photos/{number}.jpg", f"/readings/{number}"):
        assert crew.get(path).status_code in (404, 422)


def test_every_form_field_that_is_too_long_is_refused(crew):
    answer = crew.fill("/today/cut", tray="x" * 501, tick="A1 yes", key="k-12345678")
    assert answer.status_code == 422
    assert "501 characters" in answer.text


def test_a_tray_list_with_code_in_it_is_shown_as_text(site, crew):
    path = site.farm.folder / "trays.csv"
    before = path.read_text(encoding="utf-8")
    try:
        path.write_text(before + "R9-*.jpg,<b>R9</b>,72,,seedling,2026-04-20\n", encoding="utf-8")
        html = crew.get("/snap").text
        assert "&lt;b&gt;R9&lt;/b&gt;" in html
        assert "<b>R9</b>" not in html
        path.write_text(before + "R9-*.jpg,R9,no such layout,,,\n", encoding="utf-8")
        assert "no such layout" in crew.get("/snap").text  # told, and the other lines go on
        assert crew.get("/tray?id=R1-01").status_code == 200
    finally:
        path.write_text(before, encoding="utf-8")
