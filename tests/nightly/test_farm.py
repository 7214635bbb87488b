"""A farm is made once and found from any folder inside it."""

from __future__ import annotations

from pathlib import Path

import pytest

from canopy.errors import UsageError
from canopy.nightly.farm import STORE_FILE, find_farm, make_farm
from canopy.nightly.night import one_pass
from canopy.store.database import opened
from canopy.store.readings import table


@pytest.fixture
def farm(tmp_path):
    make_farm(tmp_path / "farm")
    return tmp_path / "farm"


def test_a_new_farm_has_all_it_needs(farm):
    assert sorted(path.name for path in farm.iterdir()) == [
        STORE_FILE, "canopy.toml", "recipes", "trays.csv", "views",
    ]  # fmt: skip
    found = find_farm(farm)
    assert (found.root, found.photos, found.store) == (farm, farm, str(farm / STORE_FILE))
    with opened(found.store, busy_timeout_s=5) as store, store.reading() as connection:
        assert len(table(connection, "trays")) == 0
    assert one_pass(farm).exit_code == 0


def test_a_farm_is_not_made_over_another(farm):
    with pytest.raises(UsageError, match=r"canopy\.toml: is there already and is not overwritten"):
        make_farm(farm)


def test_it_is_found_from_inside_as_from_outside(farm, monkeypatch):
    (farm / "photos" / "rack1").mkdir(parents=True)
    for folder in (farm, farm / "photos", farm / "photos" / "rack1"):
        monkeypatch.chdir(folder)
        assert find_farm().root.resolve() == farm
        assert Path(find_farm().store).resolve() == farm / STORE_FILE
        assert find_farm(folder).root == farm


def test_where_no_farm_is_that_is_said(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UsageError, match=r"no farm here or above; name its FOLDER, or make one with `canopy init"):
        find_farm()
    # A folder that is named needs no mark: the message of what it lacks is clearer.
    with pytest.raises(UsageError, match=r"trays\.csv: no such tray list"):
        one_pass(tmp_path)


def test_a_tray_list_alone_makes_a_farm_and_settings_come_first(farm, monkeypatch):
    below = farm / "photos"
    below.mkdir()
    (below / "trays.csv").write_text("photo,tray\n")
    assert find_farm(below).root == farm
    (farm / "canopy.toml").unlink()
    assert find_farm(below).root == below


def test_photos_may_lie_elsewhere(share, tmp_path):
    share.put("rack/R1_a.jpg")
    farm = tmp_path / "farm"
    make_farm(farm)
    (farm / "trays.csv").write_text((share.folder / "trays.csv").read_text())
    (farm / "canopy.toml").write_text('[nightly]\nphotos = "../share"\n')
    night = one_pass(farm, clock=lambda: round(share.now_s * 1e9))
    assert (night.read, night.store) == (1, str(farm / STORE_FILE))
    (farm / "canopy.toml").write_text(f'[nightly]\nphotos = "{share.folder}"\n')
    assert one_pass(farm).known == 1
