"""The settings file: defaults, changes, own recipes, and errors that name file, line, setting and what is allowed."""

from __future__ import annotations

import pytest

from canopy.batch.settings_toml import Configuration, read_settings, settings_from_toml
from canopy.errors import UsageError
from canopy.settings import Settings


def _load(text):
    return settings_from_toml(text, source_name="canopy.toml")


def test_an_empty_file_gives_the_defaults():
    assert _load("").settings == Settings()
    assert _load("").fingerprint == Configuration().fingerprint


def test_what_is_named_is_changed_and_the_rest_kept():
    settings = _load("[outputs]\ntop_picks = 3\n").settings
    assert settings.outputs.top_picks == 3
    assert settings.measure == Settings().measure


def test_a_section_that_is_named_in_part_keeps_its_own_other_defaults():
    area = _load("[measure.area.finish]\nmin_area_mm2 = 60\n").settings.measure.area
    assert area.finish.min_area_mm2 == 60
    assert area.finish.canopy_high_mm == Settings().measure.area.finish.canopy_high_mm
    assert area.finish.canopy_high_mm != area.seedling.canopy_high_mm


def test_every_change_changes_the_fingerprint():
    changed = [
        _load("[outputs]\ntop_picks = 3\n"),
        _load('[[crop]]\ncrop = "butterhead"\nstage = "finish"\ngates = { minimum_das = 41 }\n'),
    ]
    prints = {Configuration().fingerprint, *(configuration.fingerprint for configuration in changed)}
    assert len(prints) == 3


def test_own_recipes_stand_beside_the_shipped_ones():
    recipes = _load('[[crop]]\ncrop = "butterhead"\nstage = "finish"\ngates = { minimum_das = 41 }\n').recipes
    assert recipes["butterhead", "finish"].gates.minimum_das == 41
    assert recipes.keys() == Configuration().recipes.keys()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "\n[outputs]\ntop_pick = 3\n",
            r"canopy\.toml, line 3: `outputs\.top_pick` is not a setting; did you mean `top_picks`\? allowed here: sig",
        ),
        ("[output]\n", r"canopy\.toml, line 1: `output` is not a setting; did you mean `outputs`\? allowed here: sc"),
        (
            "[outputs]\n\n# quality\noverlay_quality = 400\n",
            r"canopy\.toml, line 4: `outputs\.overlay_quality` = 400: should be less than or equal to 100",
        ),
        (
            "[outputs]\ntop_picks = 'many'\n",
            r"canopy\.toml, line 2: `outputs\.top_picks` = \"many\": should be a valid integer",
        ),
        ("outputs = 3\n", r"canopy\.toml, line 1: `outputs` = 3: should be a valid dictionary"),
        ("[outputs\n", r"canopy\.toml: not valid TOML: .*line 1"),
        ('[[crop]]\ncrop = "butterhead"\nstage = "ripe"\n', r"canopy\.toml: crop butterhead/ripe"),
    ],
)
def test_errors_name_file_line_setting_and_mend(text, message):
    with pytest.raises(UsageError, match=message):
        _load(text)


def test_every_problem_gets_its_line():
    with pytest.raises(UsageError) as caught:
        _load("[outputs]\ntop_picks = -1\noverlay_quality = 400\n")
    assert [line.split(":")[0] for line in str(caught.value).splitlines()] == [
        "canopy.toml, line 2",
        "canopy.toml, line 3",
    ]


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(UsageError, match=r"canopy\.toml: no such file; check the path, or run `canopy init`"):
        read_settings(tmp_path / "canopy.toml")
    (tmp_path / "canopy.toml").write_bytes("# Größe\n".encode("latin-1"))
    with pytest.raises(UsageError, match=r"canopy\.toml: not UTF-8 text; save it again as UTF-8"):
        read_settings(tmp_path / "canopy.toml")


def test_a_byte_order_mark_does_no_harm(tmp_path):
    (tmp_path / "canopy.toml").write_bytes(b"\xef\xbb\xbf[outputs]\ntop_picks = 2\n")
    assert read_settings(tmp_path / "canopy.toml").settings.outputs.top_picks == 2


def test_a_mistyped_name_in_a_list_of_cards_is_told():
    card = 'name = "own"\npatch_mm = 9\nsource = "s"\npatches = [{ xmm = 1, y_mm = 2, lab = [5, 0, 0] }]\n'
    text = f"[[measure.light.cards]]\n{card}"
    with pytest.raises(
        UsageError, match=r"`measure.light.cards.0.patches.0.xmm` is not a setting; did you mean `x_mm`"
    ):
        settings_from_toml(text, source_name="canopy.toml")
