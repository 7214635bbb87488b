"""What if a weight or a bound were another: which cells change; saved as a new version of the recipe."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from canopy.records import CropRecipe
from canopy.store import people
from canopy.store.newest import latest
from canopy.store.notebook import add_recipe, saved_recipes
from canopy.store.people import Deed
from canopy.web.farm import KnownTray, recipe_now
from canopy.web.measuring import what_is_told
from canopy.web.pages import go, page
from canopy.web.session import QA, Admin, Form, text_of
from canopy.web.site import Site, site_of
from canopy.web.trying import GATES, NUMBERS, changed_recipe, changes, decided
from canopy.web.view import kept_reading, view_of

router = APIRouter()


@router.get("/what-if")
def what_if(request: Request, visit: QA, tray: str = "") -> Response:
    """Numbers of the recipe of one tray, and which of its cells they change."""
    site = site_of(request)
    with site.store.reading() as connection:
        numbers = {one.tray: one.id for one in latest(connection)}
    trays = [one for one in site.farm.rules.in_order if one.recipe is not None and one.id in numbers]
    known = next((one for one in trays if one.id == tray), trays[0] if trays else None)
    if known is None:
        return page(request, "what_if.html", trays=[], known=None)
    kept = kept_reading(site, numbers[known.id])
    assert kept is not None
    fields = {name: value for name, value in request.query_params.items() if "." in name}
    now = recipe_of(site, known)
    new, wrong = changed_recipe(now, fields)
    told = what_is_told(site, site.farm.rules.tray_of(known.id, path=kept.path) or known, kept.photo_sha256)
    settings = site.farm.rules.configuration.settings.readiness
    before = decided(kept, now, told.record, settings=settings)
    after = decided(kept, new, told.record, settings=settings)
    return page(
        request, "what_if.html", trays=trays, known=known, recipe=now, new=new, wrong=wrong,
        fields=recipe_fields(now, new), changes=changes(before, after), reading=view_of(site, kept),
        after=dict(zip(after["cell"], after["decision"], strict=True)), is_new=new != now,
        version=_version(site, known),
    )  # fmt: skip


@router.post("/what-if")
def save(request: Request, visit: Admin, form: Form) -> Response:
    """Save the changed numbers as a new version of the recipe; new photos are decided by it."""
    site = site_of(request)
    known = site.farm.rules.trays.get(text_of(form, "tray"))
    if known is None or known.recipe is None:
        raise HTTPException(422, "tray: has no recipe.")
    fields = {name: value for name, value in form.items() if isinstance(value, str) and "." in name}
    now = recipe_of(site, known)
    new, wrong = changed_recipe(now, fields)
    if wrong or new == now:
        raise HTTPException(422, "; ".join(wrong) or "Nothing is changed.")
    data = new.model_dump(mode="json", exclude_none=True)
    with site.store.writing() as connection:
        number = add_recipe(connection, data, at=site.now, by=visit.name, note=text_of(form, "note"))
        about = f"{new.crop}/{new.stage} version {number}"
        people.note(connection, Deed(site.now, visit.name, "recipe saved", about, visit.address))
    return go(f"/what-if?tray={quote(known.id)}")


def recipe_of(site: Site, known: KnownTray) -> CropRecipe:
    """The tray's recipe as it is now."""
    with site.store.reading() as connection:
        recipe = recipe_now(known, saved_recipes(connection))
    assert recipe is not None
    return recipe


def recipe_fields(now: CropRecipe, new: CropRecipe) -> list[tuple[str, list[tuple[str, str, float, float]]]]:
    """Of each block of the recipe: (name of the field, words, number now, number tried)."""
    blocks = []
    for named in now.criteria:
        tried = next(one.criterion for one in new.criteria if one.name == named.name)
        numbers = [
            (f"{named.name}.{name}", words, getattr(named.criterion, name), getattr(tried, name))
            for name, words in NUMBERS
            if getattr(named.criterion, name) is not None
        ]
        blocks.append((f"{named.name} ({named.measure}{f', {named.unit}' if named.unit else ''})", numbers))
    gates = [
        (f"gates.{name}", words, getattr(now.gates, name), getattr(new.gates, name))
        for name, words in GATES
        if getattr(now.gates, name) is not None
    ]
    return [*blocks, ("gates", gates)]


def _version(site: Site, known: KnownTray) -> int | None:
    assert known.recipe is not None
    with site.store.reading() as connection:
        saved = saved_recipes(connection).get((known.recipe.crop, known.recipe.stage))
    return saved[0] if saved is not None else None
