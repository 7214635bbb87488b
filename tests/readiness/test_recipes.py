"""Crop recipes: what is shipped, how they are found, how a grower changes them, and how errors read."""

from __future__ import annotations

import re
from typing import Any

import pytest
from pydantic import ValidationError

from canopy.errors import UsageError
from canopy.readiness.recipes import known_recipes, recipe_for, recipes_from_toml
from canopy.records.recipe import Criterion, CropRecipe

SHIPPED = known_recipes()
GREEN_INDICES = {"exg", "gli", "dgci", "hue_deg"}


def test_shipped_crops_and_stages() -> None:
    both = {"butterhead", "cos", "red_leaf", "oak_leaf", "basil", "kale", "rocket", "pak_choi"}
    expected = {(crop, stage) for crop in both for stage in ("seedling", "finish")}
    expected |= {
        ("cress", "mat"),
        ("brassica_shoots", "mat"),
        ("barley", "mat"),
        ("generic", "seedling"),
        ("plug", "seedling"),
    }
    assert set(SHIPPED) == expected
    assert list(SHIPPED) == sorted(SHIPPED)


@pytest.mark.parametrize("recipe", SHIPPED.values(), ids=["/".join(key) for key in SHIPPED])
def test_every_block_says_where_its_figures_come_from(recipe: CropRecipe) -> None:
    assert recipe.height is not None
    sources = [*(named.criterion.source for named in recipe.criteria), recipe.gates.source, recipe.height.source]
    sources += [one.source for one in recipe.measured] + ([recipe.sample.source] if recipe.sample else [])
    for source in sources:
        # Either a mark that there is none, or a publication; whatever is ours beside a citation is said to be ours.
        assert "our default, tune on own trays" in source or "common practice, no source" in source
    assert recipe.title


# Crop that each publication is about, by its title or by what was read in it.
_ABOUT = {"Brechner & Both": "butterhead", "'Rouxai'": "red_leaf", "PMC9409542": "basil", "Agronomy 2023": "barley"}


@pytest.mark.parametrize("recipe", SHIPPED.values(), ids=["/".join(key) for key in SHIPPED])
def test_a_source_about_another_crop_says_so(recipe: CropRecipe) -> None:
    for named in recipe.criteria:
        for publication, crop in _ABOUT.items():
            if publication in named.criterion.source and recipe.crop != crop:
                assert f"as for {crop}" in named.criterion.source


@pytest.mark.parametrize("recipe", SHIPPED.values(), ids=["/".join(key) for key in SHIPPED])
def test_shipped_figures_are_cautious_and_fit_together(recipe: CropRecipe) -> None:
    assert recipe.age is not None
    assert recipe.age.low is not None
    # The age gate lies on the rising side: it closes before the age criterion could let a plant through.
    assert recipe.age.low < recipe.gates.minimum_das <= recipe.age.target
    area = recipe.gates.minimum_area_mm2
    if recipe.size is not None:
        assert recipe.size.low is not None
        assert area is not None
        assert recipe.size.low < area < recipe.size.target
    assert recipe.health is not None
    assert recipe.health.high is not None
    # Damage sends a person before it has cost the whole health criterion.
    assert recipe.health.target < recipe.gates.damage_limit < recipe.health.high


@pytest.mark.parametrize("recipe", SHIPPED.values(), ids=["/".join(key) for key in SHIPPED])
def test_heights_rise_and_cover_the_days_of_decision(recipe: CropRecipe) -> None:
    assert recipe.height is not None
    assert list(recipe.height.mm) == sorted(recipe.height.mm)
    assert recipe.height_at(recipe.gates.minimum_das) is not None
    assert recipe.age is not None
    assert recipe.height_at(recipe.age.target_end) is not None


def test_published_ages_are_where_the_recipes_put_their_targets() -> None:
    def age(crop: str, stage: str) -> Criterion:
        criterion = SHIPPED[crop, stage].age
        assert criterion is not None
        return criterion

    # Transplanting at 11 to 12 days, harvest at 35: Brechner & Both, Cornell CEA Lettuce Handbook.
    assert age("butterhead", "seedling").target == 12
    assert age("butterhead", "finish").target == 35
    # Basil transplanted at 14 days, harvested at 35: Walters et al. 2022, PMC9409542.
    assert age("basil", "seedling").target == 14
    assert age("basil", "finish").target == 35
    # Barley mats 6 to 8 days: Agronomy 2023, 13:2301 has 7 to 8.
    assert (age("barley", "mat").target, age("barley", "mat").target_end) == (7, 8)


def test_red_cultivars_are_not_judged_by_indices_of_green() -> None:
    red = [recipe for recipe in SHIPPED.values() if recipe.red]
    assert red
    for recipe in red:
        if recipe.colour is not None:
            assert recipe.colour.index not in GREEN_INDICES
            assert recipe.colour.better == "smaller"  # NGRDI downwards: redder


@pytest.mark.parametrize("crop", ["cress", "brassica_shoots", "barley"])
def test_mats_warn_of_mould_that_cannot_be_seen(crop: str) -> None:
    assert any("No mould seen from above is not no mould" in text for text in SHIPPED[crop, "mat"].cautions)


def test_words_of_decision() -> None:
    assert SHIPPED["cos", "seedling"].ready_decision == "transplant"
    assert SHIPPED["cos", "finish"].ready_decision == "harvest"
    assert SHIPPED["barley", "mat"].ready_decision == "harvest"


def test_known_recipes_is_a_copy() -> None:
    known_recipes().clear()
    assert known_recipes() == SHIPPED


@pytest.mark.parametrize("name", ["pak_choi", "Pak choi", " PAK-CHOI "])
def test_names_are_found_however_they_are_written(name: str) -> None:
    assert recipe_for(name, "Seedling") is SHIPPED["pak_choi", "seedling"]


def test_unknown_crop_names_the_nearest_and_all() -> None:
    with pytest.raises(
        UsageError, match=r"crop: `buterhead` is not known, did you mean `butterhead`\?; known crops: b"
    ):
        recipe_for("buterhead", "seedling")


def test_unknown_stage_names_those_of_the_crop() -> None:
    with pytest.raises(
        UsageError, match="stage: crop `cress` has no recipe for stage `finish`; known stages of it: mat"
    ):
        recipe_for("cress", "finish")


def test_recipe_for_looks_where_it_is_told() -> None:
    own = recipes_from_toml('[[crop]]\ncrop = "my kale"\nstage = "finish"\nlike = "kale"\n', source_name="canopy.toml")
    assert recipe_for("My Kale", "finish", recipes={**SHIPPED, **own}).crop == "my_kale"
    with pytest.raises(UsageError, match="not known"):
        recipe_for("my kale", "finish")


def test_height_between_table_days_and_outside() -> None:
    recipe = CropRecipe.model_validate(
        {
            "crop": "x",
            "stage": "finish",
            "age": {"better": "larger", "low": 1, "target": 2, "weight": 1, "source": "ours"},
            "gates": {"minimum_das": 1, "damage_limit": 0.1, "source": "ours"},
            "height": {"das": [5, 10, 20], "mm": [10, 40, 100], "relative_sd": 0.3, "source": "ours"},
        }
    )
    assert recipe.height_at(5) == (10.0, 0.3)
    assert recipe.height_at(7) == (pytest.approx(22.0), 0.3)  # 10 + 2/5 · 30
    assert recipe.height_at(15) == (pytest.approx(70.0), 0.3)
    assert recipe.height_at(20) == (100.0, 0.3)
    for unknown in (4.9, 20.1, None, float("nan")):
        assert recipe.height_at(unknown) is None


def own(text: str) -> CropRecipe:
    (recipe,) = recipes_from_toml(text, source_name="canopy.toml").values()
    return recipe


def test_a_change_keeps_the_rest_and_says_who_made_it() -> None:
    recipe = own('[[crop]]\ncrop = "butterhead"\nstage = "seedling"\n[crop.size]\ntarget = 1500\n')
    shipped = SHIPPED["butterhead", "seedling"]
    assert recipe.size is not None
    assert shipped.size is not None
    assert recipe.size == shipped.size.model_copy(update={"target": 1500.0, "source": "given in canopy.toml"})
    assert recipe.age == shipped.age
    assert recipe.gates == shipped.gates


def test_like_starts_from_another_crop() -> None:
    recipe = own('[[crop]]\ncrop = "mizuna"\nstage = "seedling"\nlike = "rocket"\ntitle = "Mizuna"\n')
    assert recipe.crop == "mizuna"
    assert recipe.size == SHIPPED["rocket", "seedling"].size


def test_false_leaves_a_criterion_out() -> None:
    recipe = own('[[crop]]\ncrop = "cos"\nstage = "finish"\ncolour = false\n')
    assert recipe.colour is None
    assert [named.name for named in recipe.criteria] == ["size", "age", "health"]


def test_a_red_recipe_can_be_made_green_again() -> None:
    recipe = own('[[crop]]\ncrop = "red_leaf"\nstage = "seedling"\nred = false\n')
    assert recipe.red is False


def test_other_sections_are_left_to_others_and_no_crop_is_no_recipe() -> None:
    assert recipes_from_toml("[readiness]\nready_score = 70\n", source_name="canopy.toml") == {}


NEW = '[[crop]]\ncrop = "new"\nstage = "finish"\n'
GATES = '[crop.gates]\nminimum_das = 3\ndamage_limit = 0.1\nsource = "ours"\n'
AGE = '[crop.age]\nbetter = "larger"\nlow = 1\ntarget = 5\nweight = 1\nsource = "ours"\n'
COS = '[[crop]]\ncrop = "cos"\nstage = "finish"\n'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[[crop]\n", "canopy.toml: not valid TOML"),
        ('crop = "cos"\n', "canopy.toml: crop: write each recipe under its own `[[crop]]` heading"),
        (COS + COS, "canopy.toml: crop cos/finish is given twice"),
        (
            COS + "[crop.size]\ntraget = 5\n",
            "cos/finish: size.traget: unknown field, did you mean `target`?; allowed: ",
        ),
        (COS + "sise = 5\n", "cos/finish: sise: unknown field, did you mean `size`?; allowed: age, "),
        (
            COS + '[crop.size]\nbetter = "bigger"\n',
            "size.better: 'bigger' is not allowed; allowed: 'larger', 'smaller'",
        ),
        (COS + '[crop.colour]\nindex = "lab"\n', "colour.index: 'lab' is not allowed; allowed: 'hue_deg', 'exg'"),
        (COS + "[crop.size]\nweight = 0\n", "size.weight: input should be greater than 0, got 0"),
        (
            COS + "[crop.gates]\ndamage_limit = 12\n",
            "gates.damage_limit: input should be less than or equal to 1, got 12",
        ),
        (COS + "[crop.size]\nlow = 40000\n", "size: `low` 40000 must lie below `target` 28000"),
        (COS + "[crop.age]\ntarget_high = 20\n", "age: `target_high` 20 must not lie below `target` 38"),
        (COS + "[crop.age]\nhigh = 50\n", "age: `high` 50 must lie above the target 50"),
        (COS + "[crop.size]\nhigh = 90000\n", "size: `high` has no meaning where better = 'larger'"),
        (
            COS + '[crop.size]\nbetter = "target"\ntarget = 9\nlow = 1\n',
            "size: `high` is needed where better = 'target'",
        ),
        (COS + '[crop.size]\nsource = ""\n', "size.source: string should have at least 1 character"),
        (COS + "[crop.height]\nmm = [1, 2]\n", "height: `das` has 7 entries but `mm` has 2"),
        (COS + "[crop.height]\ndas = [5, 4]\nmm = [1, 2]\n", "height: `das` must rise"),
        (COS + "[crop.height]\ndas = [-5, 4]\nmm = [1, 2]\n", "height: `das` and `mm` must not be negative"),
        (COS + "red = true\n", "`colour` of a red cultivar cannot use an index of green"),
        (NEW + AGE, "canopy.toml: crop new/finish: gates: is missing"),
        (NEW + GATES, "needs at least one of `size`, `cover`, `colour`, `age`, `health`"),
        (
            NEW + 'like = "coz"\n',
            "canopy.toml: crop new/finish: like: no recipe `coz` of stage `finish`; allowed: basil",
        ),
        ('[[crop]]\nstage = "finish"\n' + AGE + GATES, "canopy.toml: crop number 1/finish: crop: is missing"),
        (
            '[[crop]]\ncrop = "x"\nstage = "end"\n' + AGE + GATES,
            "x/end: stage: 'end' is not allowed; allowed: 'seedling'",
        ),
        (
            NEW + AGE + GATES + '[crop.health]\nbetter = "larger"\nlow = 0\ntarget = 1\nweight = 1\nsource = "s"\n',
            "`health` counts yellow and brown: better must be 'smaller'",
        ),
    ],
)
def test_errors_name_file_recipe_field_and_what_is_allowed(text: str, message: str) -> None:
    with pytest.raises(UsageError, match=re.escape(message)) as caught:
        recipes_from_toml(text, source_name="canopy.toml")
    assert "\n" not in str(caught.value)


def test_recipes_are_frozen() -> None:
    recipe: Any = SHIPPED["cos", "finish"]
    with pytest.raises(ValidationError, match="frozen"):
        recipe.crop = "other"
