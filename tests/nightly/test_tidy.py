"""Pictures that are due go, and nothing that the store does not have whole."""

from __future__ import annotations

import json
import os

import pytest

from canopy.cli.app import main
from canopy.errors import StoreError, TrayNotFound
from canopy.nightly.check import check
from canopy.nightly.farm import find_farm
from canopy.nightly.place import Folder
from canopy.nightly.tidy import tidy
from canopy.store.database import opened
from canopy.store.logbook import Correction, add_correction

from .conftest import BAD, made_up_analyse

DAY_S = 86_400


@pytest.fixture
def farm(any_share):
    """Ten days after two photos were read and a third was set aside; photos may go after a week."""
    share = any_share
    (share.folder / "canopy.toml").write_text("[nightly.keep]\nphotos_days = 7\n")
    share.put("rack/R1_a.jpg", b"1")
    share.put("rack/R1_b.jpg", b"22")
    share.put("R2_c.jpg", BAD)
    share.one_pass()
    share.now_s += 10 * DAY_S
    return share


def _tidy(share, *, delete):
    found = tidy(find_farm(share.folder, store=share.store), delete=delete, now_ns=round(share.now_s * 1e9))
    return found.deleted, found.kept


def _there(share):
    return sorted(path.relative_to(share.folder).as_posix() for path in share.folder.rglob("*.*") if path.is_file())


def test_a_dry_run_changes_nothing(farm):
    before = _there(farm)
    assert _tidy(farm, delete=False) == (["rack/R1_a.jpg", "rack/R1_b.jpg"], [])
    assert _there(farm) == before
    assert farm.one_pass().gone == 0


def test_photos_that_are_read_and_due_go_and_their_readings_stay(farm):
    tables = farm.read("cells")
    assert _tidy(farm, delete=True) == (["rack/R1_a.jpg", "rack/R1_b.jpg"], [])
    assert _there(farm) == ["R2_c.jpg", "canopy.toml", "trays.csv"]
    assert farm.one_pass().exit_code == 0
    assert farm.read("cells").equals(tables)
    with opened(farm.store, busy_timeout_s=5) as store:
        assert check(Folder(farm.folder), store, compare_bytes=True).exit_code == 0
    farm.put("rack/R1_again.jpg", b"1")  # somebody copies one back
    assert farm.one_pass().read == 0


def test_by_default_everything_is_kept(farm):
    (farm.folder / "canopy.toml").write_text("")
    assert _tidy(farm, delete=True) == ([], [])


def test_what_is_young_by_its_file_or_by_its_reading_stays(farm):
    farm.put("R1_old_file.jpg", b"333", age_s=100 * DAY_S)
    farm.one_pass()
    os.utime(farm.folder / "rack" / "R1_a.jpg", (farm.now_s - DAY_S,) * 2)
    farm.one_pass()
    assert _tidy(farm, delete=True)[0] == ["rack/R1_b.jpg"]


def test_a_photo_that_is_not_as_it_was_read_stays(farm):
    path = farm.folder / "rack" / "R1_a.jpg"
    seen = path.stat()
    path.write_bytes(b"2")  # same size, and the date put back: only its bytes tell
    os.utime(path, ns=(seen.st_mtime_ns, seen.st_mtime_ns))
    assert _tidy(farm, delete=True) == (["rack/R1_b.jpg"], ["rack/R1_a.jpg: is not as it was read"])
    assert path.exists()


def test_links_stay(farm, tmp_path):
    (farm.folder / "rack" / "R1_b.jpg").unlink()
    elsewhere = tmp_path / "b.jpg"
    elsewhere.write_bytes(b"22")
    os.utime(elsewhere, (farm.now_s - 20 * DAY_S,) * 2)
    (farm.folder / "rack" / "R1_b.jpg").symlink_to(elsewhere)
    farm.one_pass()
    assert _tidy(farm, delete=True) == (["rack/R1_a.jpg"], ["rack/R1_b.jpg: a link"])
    assert elsewhere.exists()


def test_a_photo_that_a_person_corrected_stays(farm):
    sha256 = next(photo.sha256 for photo in farm.photos() if photo.path == "rack/R1_a.jpg")
    with opened(farm.store, busy_timeout_s=5) as store, store.writing() as connection:
        add_correction(connection, Correction("2026-03-21T00:00:00+00:00", "g", sha256, "R1", "A1", "state", "empty"))
    assert _tidy(farm, delete=True)[0] == ["rack/R1_b.jpg"]


@pytest.mark.parametrize(
    "harm",
    [
        "DELETE FROM cells WHERE position = 0",
        "UPDATE photos SET state = 'read' WHERE state = 'set_aside'",
    ],
)
def test_nothing_goes_while_the_store_is_not_whole(farm, harm):
    with opened(farm.store, busy_timeout_s=5) as store, store.writing() as connection:
        connection.exec_driver_sql(harm)
    before = _there(farm)
    with pytest.raises(StoreError, match="nothing is deleted before `canopy check` finds it whole"):
        _tidy(farm, delete=True)
    assert _there(farm) == before


def test_a_photo_of_two_trays_of_which_one_failed_stays(share, monkeypatch):
    def second_fails(data, record, *, name, **_):
        if record.tray == "R2":
            raise TrayNotFound("tray_not_found", f"{name}: no tray R2")
        return made_up_analyse(data, record, name=name)

    monkeypatch.setattr("canopy.nightly.work.analyse", second_fails)
    (share.folder / "canopy.toml").write_text("[nightly.keep]\nphotos_days = 7\n")
    share.list_trays(("R1_a.jpg", "R1"), ("R1_a.jpg", "R2"))
    share.put("R1_a.jpg")
    share.one_pass()
    assert [photo.state for photo in share.photos()] == ["partly"]
    share.now_s += 10 * DAY_S
    assert _tidy(share, delete=True) == ([], [])


def test_a_program_that_ends_after_its_note_has_lost_nothing(farm, monkeypatch):
    def end(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("canopy.nightly.tidy._unlinked", end)
    with pytest.raises(KeyboardInterrupt):
        _tidy(farm, delete=True)
    monkeypatch.undo()
    assert "rack/R1_a.jpg" in _there(farm)
    assert _tidy(farm, delete=True)[0] == ["rack/R1_a.jpg", "rack/R1_b.jpg"]


def test_overlays_go_when_they_are_due_and_their_photos_are_in_the_store(farm):
    (farm.folder / "canopy.toml").write_text("[nightly.keep]\noverlays_days = 7\n")
    out = farm.folder / "results"
    names = {"a": "rack/R1_a.jpg", "never": "R1_never.jpg", "young": "rack/R1_b.jpg"}
    run = [{"photo": photo, "tray": "R1", "stem": stem, "status": "read"} for stem, photo in names.items()]
    for stem in names:
        age_s = (1 if stem == "young" else 30) * DAY_S
        farm.put(f"results/overlays/{stem}.jpg", b"o", age_s=age_s)
        farm.put(f"results/masks/{stem}.png", b"m", age_s=age_s)
    farm.put("results/overlays/mine.jpg", b"o", age_s=30 * DAY_S)  # of no photo of the run
    (out / "run.json").write_text(json.dumps({"photos": run}))
    (out / "cells.csv").touch()
    farm.put("other/run.json", b"[]", age_s=30 * DAY_S)
    assert _tidy(farm, delete=True) == (["results/overlays/a.jpg", "results/masks/a.png"], [])
    assert sorted(path.stem for path in (out / "overlays").iterdir()) == ["mine", "never", "young"]


def test_as_it_is_typed(share, capsys):
    (share.folder / "canopy.toml").write_text("[nightly.keep]\nphotos_days = 7\n")
    share.put("R1_a.jpg", b"x" * 100_000, age_s=1)
    share.now_s = 1_500_000_000
    share.put("R1_a.jpg", b"x" * 100_000)
    share.one_pass()
    command = ["tidy", str(share.folder), "--store", share.store]
    for more, word in (([], "would be deleted"), (["--delete"], "deleted")):
        with pytest.raises(SystemExit) as stopped:
            main([*command, *more])
        assert not stopped.value.code
        assert capsys.readouterr().out.startswith(f"{word}: R1_a.jpg\n1 file, 0.1 MB, {word}")
    assert _there(share) == ["canopy.toml", "trays.csv"]
