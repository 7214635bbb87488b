"""A test that is skipped where it is run in earnest checks nothing: none may be left out there."""

import re
from pathlib import Path

import browser
import pytest
from store.postgres import HOW, IN_EARNEST, PLACE, server

HERE = Path(__file__)
SKIPS = re.compile(r"importorskip|mark\.skip|pytest\.skip|mark\.xfail|unittest\.skip")

# What a newcomer's machine may lack, and a change's last check may not: a browser, Linux, a server.
MAY_LACK = [
    "browser.py: pytest.skip(HOW)",
    'nightly/test_pool.py: @pytest.mark.skipif(sys.platform != "linux", reason="only Linux bounds the memory that is '
    'allocated")',
    "store/postgres.py: pytest.skip(HOW)",
]


def test_no_test_can_be_skipped_but_for_want_of_a_browser_or_a_server():
    found = [
        f"{path.relative_to(HERE.parent)}: {line.strip()}"
        for path in sorted(HERE.parent.rglob("*.py"))
        if path != HERE
        for line in path.read_text(encoding="utf-8").splitlines()
        if SKIPS.search(line)
    ]
    assert found == MAY_LACK


def test_without_a_server_the_test_says_how_to_get_one(monkeypatch):
    monkeypatch.delenv(PLACE, raising=False)
    monkeypatch.delenv(IN_EARNEST, raising=False)
    with pytest.raises(BaseException, match="names no PostgreSQL server; with PostgreSQL installed, run") as stopped:
        server()
    assert stopped.typename == "Skipped"
    assert ".ci/postgres start" in HOW
    assert (HERE.parent.parent / ".ci" / "postgres").is_file()


def test_in_earnest_a_server_that_is_absent_is_a_failure(monkeypatch):
    monkeypatch.delenv(PLACE, raising=False)
    monkeypatch.setenv(IN_EARNEST, "1")
    with pytest.raises(BaseException, match="names no PostgreSQL server") as stopped:
        server()
    assert stopped.typename == "Failed"


@pytest.mark.parametrize(("earnest", "outcome"), [("", "Skipped"), ("1", "Failed")])
def test_without_a_browser_the_test_says_so(monkeypatch, earnest, outcome):
    monkeypatch.setenv(IN_EARNEST, earnest)
    monkeypatch.setenv("PATH", "")
    with pytest.raises(BaseException, match="`chromium` is not installed; install it") as stopped:
        browser.chromium()
    assert stopped.typename == outcome


def test_the_last_check_is_run_in_earnest_with_a_server():
    lines = (HERE.parent.parent / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    start = next(n for n, line in enumerate(lines) if ".ci/postgres start" in line)
    earnest = next(n for n, line in enumerate(lines) if f"export {IN_EARNEST}=1" in line)
    tests = next(n for n, line in enumerate(lines) if line.startswith(".venv/bin/pytest"))
    assert max(start, earnest) < tests
