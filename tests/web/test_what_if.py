"""What if: cells decided by other numbers, nothing kept until it is saved, and then used for what comes."""

from __future__ import annotations

import pytest

from canopy.readiness import recipe_for
from canopy.store.newest import latest_of, reading_of
from canopy.store.notebook import saved_recipes
from canopy.web.measuring import what_is_told
from canopy.web.trying import changed_recipe, changes, decided

RECIPE = recipe_for("pak_choi", "seedling")


@pytest.fixture
def kept(site):
    with site.store.reading() as connection:
        return reading_of(connection, latest_of(connection, "R1-05"))


def _decided(site, kept, recipe):
    told = what_is_told(site, site.farm.rules.trays["R1-05"], kept.photo_sha256)
    settings = site.farm.rules.configuration.settings.readiness
    return decided(kept, recipe, told.record, settings=settings)


def test_the_recipe_as_it_is_decides_as_the_reading_did(site, kept):
    again = _decided(site, kept, RECIPE)
    assert list(again["decision"]) == list(kept.cells["decision"])
    # The store keeps every digit, and the sums are the same.
    assert again["readiness"].equals(kept.cells["readiness"])
    assert changes(again, again) == []


def test_a_bound_out_of_reach_offers_nothing(site, kept):
    higher, wrong = changed_recipe(RECIPE, {"gates.minimum_das": "300"})
    assert wrong == []
    after = _decided(site, kept, higher)
    assert "transplant" not in set(after["decision"])
    found = changes(_decided(site, kept, RECIPE), after)
    before = set(kept.cells[kept.cells["decision"] == "transplant"]["cell"])
    assert {one.cell for one in found if one.decided_otherwise and one.before == "transplant"} == before


@pytest.mark.parametrize(
    ("fields", "said"),
    [({"size.target": "much"}, "no number"), ({"size.weight": "-1"}, "size weight"), ({"size.target": "1"}, "must lie"),
     ({"age.weight": "nan"}, "age weight"), ({"gates.minimum_das": "1e400"}, "minimum_das"),
     ({"gates.damage_limit": "7"}, "damage_limit")],
)  # fmt: skip
def test_numbers_that_make_no_recipe_are_told(fields, said):
    recipe, wrong = changed_recipe(RECIPE, fields)
    assert recipe == RECIPE
    assert said in " ".join(wrong)


@pytest.mark.parametrize("name", ["crop.x", "size.source", "cautions.0", "nothing.weight", "size.better", "height.mm"])
def test_only_numbers_of_criteria_and_gates_can_be_moved(name):
    assert changed_recipe(RECIPE, {name: "1"}) == (RECIPE, [])


def test_a_look_keeps_nothing_and_a_save_counts_from_then_on(site, admin, crew, kept):
    assert admin.get("/what-if?tray=R1-05&gates.minimum_das=17").status_code == 200
    with site.store.reading() as connection:
        assert ("pak_choi", "seedling") not in saved_recipes(connection)
    assert admin.fill("/what-if", tray="R1-05").status_code == 422  # nothing is changed
    answer = admin.fill("/what-if", tray="R1-05", **{"gates.minimum_das": "17"}, note="slow week")
    assert answer.status_code == 303
    with site.store.reading() as connection:
        number, recipe = saved_recipes(connection)["pak_choi", "seedling"]
    assert recipe["gates"]["minimum_das"] == 17
    assert f"version {number}" in admin.get("/what-if?tray=R1-05").text
    # The plants are 14 days old: measured again, none is offered.
    crew.fill(f"/readings/{kept.id}/sown", sown_on="2026-04-20")
    with site.store.reading() as connection:
        new = reading_of(connection, latest_of(connection, "R1-05"))
    assert "transplant" not in set(new.cells["decision"])
    admin.fill("/what-if", tray="R1-05", **{"gates.minimum_das": str(RECIPE.gates.minimum_das)}, note="back")
    crew.fill(f"/readings/{new.id}/sown", sown_on="2026-04-20")


def test_the_sum_is_told_as_it_was_when_the_recipe_has_changed_since(site, admin, kept):
    from canopy.web.view import sum_of_cell

    cell = kept.cells[kept.cells["state"] == "planted"]["cell"].iloc[0]
    as_it_was = sum_of_cell(site, kept, cell)
    assert any(line.startswith("Decision: ") for line in as_it_was)
    weight = RECIPE.size.weight
    assert admin.fill("/what-if", tray="R1-05", **{"size.weight": str(3 * weight)}).status_code == 303
    try:
        told = sum_of_cell(site, kept, cell)
        assert told[0].startswith("The recipe has changed since")
    finally:
        admin.fill("/what-if", tray="R1-05", **{"size.weight": str(weight)})
