"""Settings, tray list and recipes are found from anywhere inside a farm folder."""

from __future__ import annotations

import pytest

from canopy.batch.farm import beside_or_above
from canopy.batch.job import Job
from canopy.batch.plan import make_plan
from canopy.batch.settings_toml import Configuration, read_settings
from canopy.errors import UsageError

RECIPE = '[[crop]]\ncrop = "{crop}"\nlike = "cos"\nstage = "finish"\n'


@pytest.fixture
def farm(tmp_path):
    (tmp_path / "trays.csv").write_text("photo,tray,layout\nrack*/a_*.jpg,R1,72\nrack1/gone.jpg,R2,72\n")
    (tmp_path / "canopy.toml").write_text("[outputs]\ntop_picks = 3\n")
    for rack in ("rack1", "rack2"):
        (tmp_path / rack / "deep").mkdir(parents=True)
        (tmp_path / rack / "a_1.jpg").write_bytes(rack.encode())
    return tmp_path


def test_the_nearest_file_counts(farm):
    assert beside_or_above(farm / "rack1" / "deep", "trays.csv") == farm / "trays.csv"
    (farm / "rack1" / "trays.csv").touch()
    assert beside_or_above(farm / "rack1" / "deep", "trays.csv") == farm / "rack1" / "trays.csv"
    assert beside_or_above(farm, "no such name.csv") is None


def test_a_folder_named_from_inside_finds_what_lies_above(farm, monkeypatch):
    monkeypatch.chdir(farm / "rack1" / "deep")
    assert beside_or_above(farm.relative_to(farm), "trays.csv") == farm / "trays.csv"


def test_a_part_of_a_farm_is_scored_by_the_farms_list_and_settings(farm):
    plan = make_plan([farm / "rack1"])
    assert plan.configuration.settings.outputs.top_picks == 3
    # The list names a photo that is not there; of a part of the farm that says nothing.
    assert [(type(job), job.record.tray) for job in plan.jobs] == [(Job, "R1")]
    assert [job.code for job in make_plan([farm]).jobs if not isinstance(job, Job)] == ["missing"]


def test_recipes_in_files_of_their_own(farm):
    (farm / "recipes").mkdir()
    (farm / "recipes" / "b.toml").write_text(RECIPE.format(crop="evening cos"))
    (farm / "recipes" / "a.toml").write_text("# nothing yet\n")
    known = read_settings(farm / "canopy.toml")
    assert known.recipes["evening_cos", "finish"].crop == "evening_cos"
    assert known.fingerprint != Configuration(known.settings).fingerprint


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (RECIPE.format(crop="mine"), r"recipes/b\.toml: crop mine/finish is given in canopy\.toml too; keep one"),
        ("[[crop]\n", r"recipes/b\.toml: not valid TOML"),
        ('[[crop]]\ncrop = "x"\nstage = "fin"\n', r"recipes/b\.toml: crop x/fin: .*allowed"),
    ],
)
def test_recipes_that_cannot_be_used_name_their_file(farm, text, said):
    (farm / "canopy.toml").write_text(RECIPE.format(crop="mine"))
    (farm / "recipes").mkdir()
    (farm / "recipes" / "b.toml").write_text(text)
    with pytest.raises(UsageError, match=said):
        read_settings(farm / "canopy.toml")
