"""The folder of results: what is written when, and that half of a run is never taken for a whole one."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from canopy.batch.job import Done, SetAside
from canopy.batch.results import Results, prepare_out
from canopy.batch.settings_toml import Configuration
from canopy.errors import UsageError
from canopy.measure import CELL_COLUMNS, TRAY_COLUMNS, as_table
from canopy.records import Reading
from canopy.settings import Settings


def _done(photo="a.jpg", tray="T1", readiness=(90.0, 40.0)):
    cells = as_table(
        {
            "photo": [photo] * 2,
            "tray": [tray] * 2,
            "row": [1, 1],
            "col": [1, 2],
            "cell": ["A1", "A2"],
            "state": ["planted"] * 2,
            "readiness": readiness,
            "decision": ["harvest" if r >= 80 else "wait" for r in readiness],
        },
        columns=CELL_COLUMNS,
    )
    trays = as_table({"photo": [photo], "tray": [tray], "cells": [2], "planted": [2]}, columns=TRAY_COLUMNS)
    criteria = pd.DataFrame(columns=["cell", "criterion", "desirability", "weight"])
    return Done(Reading(photo, tray, cells, trays, criteria), "a", "Cos", (), b"")


_ASIDE = SetAside("b.jpg", "", "empty_file", "b.jpg: file is empty; copy it again")


def test_outcomes_become_rows_in_their_order(tmp_path):
    with Results(tmp_path, Configuration()) as results:
        results.put(_ASIDE)
        results.put(_done())
    trays = pd.read_csv(tmp_path / "trays.csv")
    assert trays["photo"].tolist() == ["b.jpg", "a.jpg"]
    assert trays.loc[0, ["quality", "quality_reason"]].tolist() == ["refused", _ASIDE.message]
    assert trays.loc[0].drop(["photo", "quality", "quality_reason"]).isna().all()
    assert pd.read_csv(tmp_path / "cells.csv")["cell"].tolist() == ["A1", "A2"]
    assert pd.read_csv(tmp_path / "picks.csv")["cell"].tolist() == ["A1"]
    run = json.loads((tmp_path / "run.json").read_text())
    assert run["photos"] == [
        {"photo": "b.jpg", "tray": "", "stem": None, "status": "set_aside", "reason": "empty_file",
         "message": _ASIDE.message},
        {"photo": "a.jpg", "tray": "T1", "stem": "a", "status": "read"},
    ]  # fmt: skip


def test_tables_without_rows_have_their_header(tmp_path):
    with Results(tmp_path, Configuration()):
        pass
    for name in ("cells.csv", "trays.csv", "picks.csv"):
        table = pd.read_csv(tmp_path / name)
        assert (len(table), table.columns[0]) == (0, "photo")


def test_a_run_that_breaks_off_leaves_the_old_results_alone(tmp_path):
    (tmp_path / "cells.csv").write_text("old")
    results = Results(tmp_path, Configuration())
    results.__enter__()
    results.put(_done())
    results.__exit__(KeyboardInterrupt, KeyboardInterrupt(), None)
    assert (tmp_path / "cells.csv").read_text() == "old"
    assert not (tmp_path / "report.html").exists()


def test_the_best_picks_of_all_trays_are_named(tmp_path):
    settings = Settings.model_validate({"outputs": {"top_picks": 2}})
    with Results(tmp_path, Configuration(settings)) as results:
        results.put(_done(tray="T1", readiness=(81.0, 90.0)))
        results.put(_done(tray="T2", readiness=(95.04, 90.0)))
    assert results.picks == 4
    assert results.top_picks == [
        {"tray": "T2", "cell": "A1", "decision": "harvest", "readiness": 95.0},
        {"tray": "T1", "cell": "A2", "decision": "harvest", "readiness": 90.0},
    ]


def test_a_long_run_shows_its_first_trays_in_the_report(tmp_path):
    settings = Settings.model_validate({"outputs": {"report_trays_max": 1}})
    with Results(tmp_path, Configuration(settings)) as results:
        results.put(_done(tray="T1"))
        results.put(_done(tray="T2"))
    html = (tmp_path / "report.html").read_text()
    assert ">T1</h2>" in html
    assert ">T2</h2>" not in html
    assert "1 more photo is in the tables only" in html


def test_a_table_with_other_columns_than_promised_is_a_fault(tmp_path):
    done = _done()
    reading = Reading("a.jpg", "T1", done.reading.cells.assign(more=1), done.reading.trays, done.reading.criteria)
    with pytest.raises(RuntimeError, match=r"cells\.csv: columns are"), Results(tmp_path, Configuration()) as results:
        results.put(Done(reading, "a", "", (), b""))


def test_a_name_that_is_not_text_in_any_code_is_written_as_it_is(tmp_path):
    photo = b"\xff.jpg".decode("utf-8", "surrogateescape")
    with Results(tmp_path, Configuration()) as results:
        results.put(_done(photo=photo))
        results.put(SetAside(photo, "", "empty_file", f"{photo}: file is empty"))
    for name in ("cells.csv", "trays.csv", "report.html"):
        assert b"\xff.jpg" in (tmp_path / name).read_bytes()
    assert json.loads((tmp_path / "run.json").read_text())["photos"][0]["photo"] == photo


def test_a_folder_is_made_with_its_sub_folders(tmp_path):
    prepare_out(tmp_path / "a" / "b", inputs=[], trays=None, folders=["overlays"])
    assert (tmp_path / "a" / "b" / "overlays").is_dir()
    assert list((tmp_path / "a" / "b").iterdir()) == [tmp_path / "a" / "b" / "overlays"]


def test_the_folder_of_the_tray_list_is_not_written_into(tmp_path):
    (tmp_path / "trays.csv").write_text("")
    with pytest.raises(UsageError, match="--out is the folder of the photos or of the tray list"):
        prepare_out(tmp_path, inputs=[], trays=tmp_path / "trays.csv", folders=[])
