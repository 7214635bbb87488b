from pathlib import Path

import pytest

from canopy.batch.job import SetAside
from canopy.batch.score import Run
from canopy.cli.summary import print_words

LOST = SetAside("b.jpg", "T2", "empty_file", "b.jpg: file is empty")


@pytest.mark.parametrize(
    ("read", "aside", "picks", "words"),
    [
        (1, (), 1, "1 of 1 photo read, 1 plant to pick."),
        (0, (LOST,), 0, "0 of 1 photo read, 0 plants to pick."),
        (2, (LOST,), 12, "2 of 3 photos read, 12 plants to pick."),
    ],
)
def test_photos_and_plants_are_counted_in_words(capsys, read, aside, picks, words):
    print_words(Run(Path("out"), Path("out/report.html"), read, aside, (), picks, []))
    assert capsys.readouterr().out.splitlines() == [words, "Report: out/report.html"]
