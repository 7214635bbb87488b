"""Readings made anew: added, counted from then on, and what differs told; old ones stay."""

from __future__ import annotations

import csv
from datetime import date

import pytest
from store.made_up import reading

from canopy.cli.app import main
from canopy.errors import StoreBusy
from canopy.nightly.farm import find_farm
from canopy.nightly.redo import Redone, compared, count_due, redo
from canopy.store.database import opened
from canopy.store.turn import one_at_a_time

from .conftest import BAD, made_up_analyse
from .in_place import InPlace

DAY = date(2026, 3, 20)  # the made-up readings are of this day


@pytest.fixture
def two(any_share, monkeypatch):
    """A farm with two readings, whose areas follow the settings."""

    def analyse(data, record, *, name, settings, **_):
        if data.startswith(BAD):
            return made_up_analyse(data, record, name=name)
        return reading(name, record.tray, area=len(data) * settings.photo.max_megapixels)

    monkeypatch.setattr("canopy.nightly.work.analyse", analyse)
    any_share.put("R1_a.jpg", b"1")
    any_share.put("R2_b.jpg", b"22")
    any_share.one_pass()
    return any_share


def _set(share, megapixels):
    (share.folder / "canopy.toml").write_text(f"[photo]\nmax_megapixels = {megapixels}\n")


def _redo(share, *, since=DAY):
    done = Redone()
    farm = find_farm(share.folder, store=share.store)
    changes = list(redo(farm, done, since=since, clock=lambda: round(share.now_s * 1e9)))
    return done, changes


def _areas(share):
    return share.read("cells")["area_mm2"].dropna().tolist()


def _rows(share):
    with opened(share.store, busy_timeout_s=5) as store, store.reading() as connection:
        return connection.exec_driver_sql("SELECT count(*) FROM readings").scalar()


def test_readings_by_other_settings_are_made_anew_beside_the_old_ones(two):
    _set(two, 50)
    assert two.one_pass().known == 2  # a pass leaves what is read
    done, changes = _redo(two)
    assert (done.due, done.made, done.changed, done.exit_code) == (2, 2, 2, 0)
    assert _areas(two) == [50, 100]
    assert _rows(two) == 4
    assert [change.tray for change in changes] == ["R1", "R2"]
    again, _ = _redo(two)
    assert (again.due, again.as_made) == (0, 2)


def test_back_to_earlier_settings_counts_the_earlier_figures_again(two):
    for megapixels, areas in ((50, [50, 100]), (60, [60, 120]), (50, [50, 100]), (60, [60, 120])):
        _set(two, megapixels)
        assert _redo(two)[0].made == 2
        assert _areas(two) == areas
    assert _rows(two) == 10
    made_with = two.read("trace")["made_with"]
    assert made_with.str.endswith("+2").all()


def test_only_photos_of_the_days_asked_for(two):
    _set(two, 50)
    assert _redo(two, since=date(2026, 3, 21))[0].due == 0
    assert count_due(find_farm(two.folder, store=two.store), since=DAY).due == 2
    assert _areas(two) == [100, 200]  # counted only; 100 is the default


def test_photos_that_are_gone_keep_their_readings(two):
    (two.folder / "R1_a.jpg").unlink()
    _set(two, 50)
    done, _ = _redo(two)
    assert (done.gone, done.made, done.exit_code) == (["R1_a.jpg"], 1, 1)
    two.one_pass()  # the ledger forgets the file
    _set(two, 60)
    assert _redo(two)[0].gone == ["R1_a.jpg"]
    assert _areas(two) == [100, 120]


def test_a_photo_that_gives_no_reading_any_more_keeps_the_old_one(two, monkeypatch):
    monkeypatch.setattr("canopy.nightly.work.analyse", lambda *_, **__: 1 / 0)
    _set(two, 50)
    done, _ = _redo(two)
    assert [aside.code for aside in done.set_aside] == ["failed", "failed"]
    assert _areas(two) == [100, 200]


def test_a_redo_that_is_ended_goes_on_where_it_was(two):
    _set(two, 50)
    farm, done = find_farm(two.folder, store=two.store), Redone()
    next(redo(farm, done, since=DAY))
    assert _areas(two) == [50, 200]
    assert _redo(two)[0].made == 1


def test_it_waits_for_no_pass(two):
    with opened(two.store, busy_timeout_s=5) as store, one_at_a_time(store), pytest.raises(StoreBusy):
        _redo(two)


def test_what_changed_is_every_value_and_no_other():
    old, new = reading(area=2.0).cells, reading(area=3.0)
    old.loc[0, "decision"], new.cells.loc[0, "decision"] = "wait", "harvest"
    old.loc[1, "readiness"] = 5.0
    changed = compared(old, new)
    assert changed.decided == {("wait", "harvest"): 1}
    assert changed.rows[["cell", "column", "before", "after"]].to_numpy().tolist() == [
        ["A1", "area_mm2", "2.0", "3.0"],
        ["A2", "readiness", "5.0", ""],
        ["A1", "decision", "wait", "harvest"],
    ]
    assert len(compared(reading().cells, reading()).rows) == 0


def test_as_it_is_typed(share, capsys, tmp_path, monkeypatch):
    share.put("R1_a.jpg", b"1")
    share.one_pass()
    _set(share, 50)
    monkeypatch.setattr(
        "canopy.nightly.work.analyse", lambda data, record, *, name, **_: reading(name, record.tray, area=7.0)
    )
    monkeypatch.setattr("canopy.nightly.pool.Pool", InPlace)
    command = ["redo", str(share.folder), "--store", share.store, "--since", "2026-03-01"]
    told = []
    for more in (["--dry-run"], ["--out", str(tmp_path / "changes.csv")], []):
        with pytest.raises(SystemExit) as stopped:
            main([*command, *more])
        assert not stopped.value.code
        told.append(capsys.readouterr().out)
    assert told == [
        "1 reading to be made anew, 0 by the rules of today.\n",
        "R1 (R1_a.jpg): 1 value of 1 cell, mean area_mm2 1 → 7\n"
        "1 reading made anew, 1 changed, 0 the same; 0 by the rules of today already.\n",
        "0 readings made anew, 0 changed, 0 the same; 1 by the rules of today already.\n",
    ]
    with (tmp_path / "changes.csv").open(newline="") as file:
        assert list(csv.DictReader(file)) == [
            {"photo": "R1_a.jpg", "tray": "R1", "cell": "A1", "column": "area_mm2", "before": "1.0", "after": "7.0"}
        ]
