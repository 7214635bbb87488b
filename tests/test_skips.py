"""A test that is skipped where it is run in earnest checks nothing: none may be left out."""

import re
from pathlib import Path

SKIPS = re.compile(r"importorskip|mark\.skip|pytest\.skip|mark\.xfail|unittest\.skip")


def test_no_test_can_be_skipped():
    here = Path(__file__)
    found = [
        f"{path.relative_to(here.parent)}: {line.strip()}"
        for path in sorted(here.parent.rglob("*.py"))
        if path != here
        for line in path.read_text(encoding="utf-8").splitlines()
        if SKIPS.search(line)
    ]
    assert found == []
