"""The whole farm scored for a Spanish crew: nothing that people read is English, and tables are as ever."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from canopy.batch.score import score_photos
from canopy.errors import UsageError
from canopy.outputs.legend import sign_items
from canopy.outputs.picks import pick_list
from canopy.outputs.report import ReportTray, render_report
from canopy.records import Remark
from canopy.settings import OutputSettings
from canopy.words import words_in
from canopy.words.phrases import PHRASES

from .conftest import HEADER, LAYOUT, LINE, RADII_MM, SETTINGS, write_photo
from .drawing import draw_tray

# Words of English that are none of Spanish; names of files, columns and settings hold none of them.
ENGLISH = re.compile(
    r"\b(the|of|and|is|are|was|with|for|from|to|this|that|its|it|plants?|cells?|trays?|leaf|leaves|below|range|crosses|"
    r"held|back|not|size|age|health|colour|cover|wait|harvest|transplant|photos?|by|in|first|look|days?|rows?|weak|"
    r"strong|missing|unknown|seen|empty|good|readiness|evenness|lettuce|seedling)\b",
    re.IGNORECASE,
)


class _Words(HTMLParser):
    """What a reader reads or hears: text, names of pictures and controls."""

    def __init__(self):
        super().__init__()
        self.heard, self._style = [], False

    def handle_starttag(self, tag, attrs):
        self._style = tag == "style"
        self.heard += [value for name, value in attrs if name in ("alt", "aria-label", "title") and value]

    def handle_data(self, data):
        if not self._style and data.strip():
            self.heard.append(" ".join(data.split()))


def _heard(html):
    page = _Words()
    page.feed(html)
    return [re.sub(r"\w+\.csv", "", text) for text in page.heard]


@pytest.fixture(scope="module")
def spanish(tmp_path_factory):
    """A tray on two days and an empty file, scored in Spanish; the crop's title is the grower's own."""
    folder = tmp_path_factory.mktemp("granja")
    for day in (20, 22):
        write_photo(folder / f"R1_2026-03-{day}_0530.png", draw_tray(LAYOUT, RADII_MM, px_per_mm=3.0, seed=day))
    (folder / "R1_roto.png").write_bytes(b"")
    (folder / "trays.csv").write_text(HEADER + LINE.format(photo="R1_*.png", tray="R1"))
    (folder / "canopy.toml").write_text(SETTINGS.replace("Disc lettuce, seedling", "Lechuga de discos"))
    out = folder.parent / "salida"
    run = score_photos([folder], out=out, language="es")
    assert run.exit_code == 1
    return out


def test_no_english_is_left_in_the_report(spanish):
    html = (spanish / "report.html").read_text(encoding="utf-8")
    assert '<html lang="es">' in html
    assert [text for text in _heard(html) if ENGLISH.search(text)] == []
    assert "por recoger en 1 bandeja" in html
    assert "Puntaje día a día" in html
    assert "R1_roto.png: el archivo está vacío; copie la foto otra vez desde la cámara" in html


def test_tables_keep_the_words_that_programs_rely_on(spanish):
    cells = (spanish / "cells.csv").read_text(encoding="utf-8")
    assert re.search(r",(harvest|transplant|wait),", cells)
    assert "cosechar" not in cells
    assert "file is empty" in (spanish / "trays.csv").read_text(encoding="utf-8")


def test_every_sentence_that_a_cell_or_photo_may_get_is_spanish_in_the_report(reading_with):
    html = render_report(
        [reading_with], [], photos_read=1, version="1", fingerprint="0", look=OutputSettings(), words=words_in("es")
    )
    assert [text for text in _heard(html) if ENGLISH.search(text)] == []


@pytest.fixture
def reading_with(scored_reading):
    """A reading in which every known sentence stands once as a reason, one after the other, and once as a remark."""
    values = [re.sub(r"\{\w+\}", "7", phrase) for phrase in PHRASES if len(phrase.split()) > 2]
    reasons = [f"{first}; {second}" for first, second in zip(values, values[1:] + values[:1], strict=True)]
    cells = scored_reading.cells
    rounds = [reasons[k :: len(cells)] for k in range(len(cells))]
    cells = cells.assign(reason=["; ".join(texts) for texts in rounds])
    remarks = tuple(Remark("dark", value) for value in values)
    reading = replace(scored_reading, cells=cells, remarks=remarks)
    caution = "Do not feed on the word of a camera. Fresh mass grows by water: dry matter does not grow."
    return ReportTray(reading, pick_list(reading), "Butterhead lettuce, seedling", (caution,), b"")


@pytest.fixture
def scored_reading(farm):
    from canopy.batch.plan import make_plan
    from canopy.batch.work import Worker

    plan = make_plan([farm.folder], trays=None, settings=None)
    return Worker(plan.configuration.settings, None).work_through(plan.jobs[0]).reading


def test_the_strip_below_a_picture_is_spanish(scored_reading):
    texts = [text for _, text in sign_items(scored_reading.cells["decision"], words=words_in("es"))]
    assert texts
    assert [text for text in texts if ENGLISH.search(text)] == []


def test_the_setting_names_the_language_and_the_option_comes_first(spanish, tmp_path):
    folder = spanish.parent / "uno"
    folder.mkdir()
    write_photo(folder / "R1_2026-03-20_0530.png", draw_tray(LAYOUT, RADII_MM, px_per_mm=3.0))
    (folder / "trays.csv").write_text(HEADER + LINE.format(photo="R1_*.png", tray="R1"))
    (folder / "canopy.toml").write_text('[outputs]\nlanguage = "es"\n' + SETTINGS)
    score_photos([folder], out=tmp_path / "es")
    score_photos([folder], out=tmp_path / "en", language="en")
    assert '<html lang="es">' in (tmp_path / "es" / "report.html").read_text(encoding="utf-8")
    assert '<html lang="en">' in (tmp_path / "en" / "report.html").read_text(encoding="utf-8")
    # Language bears on no number: the same fingerprint, the same tables.
    for name in ("cells.csv", "trays.csv", "picks.csv", "run.json"):
        assert (tmp_path / "es" / name).read_bytes() == (tmp_path / "en" / name).read_bytes(), name
    with pytest.raises(UsageError, match=r"language: no `xx`; known: en, es"):
        score_photos([folder], out=tmp_path / "xx", language="xx")
    assert not (tmp_path / "xx").exists()
