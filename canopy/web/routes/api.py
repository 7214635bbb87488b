"""JSON for programs, version 1: the same names and values as the tables, behind tokens with scopes."""

from __future__ import annotations

from typing import Annotated, Any

import pandas as pd
from fastapi import APIRouter, Depends, Query, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from pydantic import BaseModel, ConfigDict, Field
from starlette.exceptions import HTTPException

from canopy.measure.columns import CELL_COLUMNS, TRAY_COLUMNS
from canopy.outputs.picks import PICK_COLUMNS, pick_list
from canopy.records import Reading
from canopy.store import people
from canopy.store.newest import latest, latest_of, reading_of
from canopy.store.people import Token
from canopy.store.readings import read_numbers
from canopy.web.cutting import Tick, weigh, write_tick
from canopy.web.pages import plain
from canopy.web.routes.today import photo_day
from canopy.web.session import id_hash, visit_of
from canopy.web.site import site_of

router = APIRouter(prefix="/api/v1", tags=["v1"])

_BEARER = HTTPBearer(auto_error=False, description="A token made by `canopy people token`.")
Row = dict[str, str | float | int | bool | None]


class Rows(BaseModel):
    """Rows of a table; `columns` gives their order, missing values are null."""

    columns: list[str]
    rows: list[Row]


class Cut(BaseModel):
    """A cell that was cut, or grams cut of a tray."""

    model_config = ConfigDict(extra="forbid")

    key: str = Field(
        pattern=r"^[A-Za-z0-9_.:-]{8,120}$", description="Yours for this record: sent twice it counts once."
    )
    tray: str = Field(min_length=1, max_length=500, description="Tray id.")
    cell: str = Field("", max_length=10, description="Cell that was cut; empty for grams of the whole tray.")
    weight_g: float | None = Field(None, gt=0, le=1e6, allow_inf_nan=False, description="Grams cut of the tray.")


class Written(BaseModel):
    """Whether it was written now, or before."""

    new: bool


def _holder(scope: str) -> Any:
    def holder(request: Request, shown: Annotated[HTTPAuthorizationCredentials | None, Depends(_BEARER)]) -> Token:
        token = _good_token(request, shown)
        if scope not in token.scopes.split():
            raise HTTPException(403, f"This token has no scope `{scope}`.")
        return token

    return Depends(holder)


def _good_token(request: Request, shown: HTTPAuthorizationCredentials | None) -> Token:
    """The token that is shown; the request ends where it is none, or no longer good."""
    token = None
    if shown is not None:
        with site_of(request).store.reading() as connection:
            token = people.token_of(connection, id_hash(shown.credentials))
    if token is None:
        raise HTTPException(401, "Show a token.", headers={"www-authenticate": "Bearer"})
    return token


Reader = Annotated[Token, _holder("read")]
Harvester = Annotated[Token, _holder("harvest")]
TrayName = Annotated[str, Query(min_length=1, max_length=500, description="Tray id.")]
_ANSWERS: dict[int | str, dict[str, Any]] = {
    400: {"description": "Not JSON"},
    401: {"description": "No good token"}, 403: {"description": "The token lacks the scope"},
    404: {"description": "No such tray"}, 422: {"description": "Cannot be read as what is asked for"},
}  # fmt: skip


@router.get("/trays", responses=_ANSWERS)
def trays(request: Request, holder: Reader) -> Rows:
    """The newest reading of every tray, with the columns of trays.csv."""
    with site_of(request).store.reading() as connection:
        numbers = [one.id for one in latest(connection)]
        return _rows(read_numbers(connection, "trays", numbers, TRAY_COLUMNS))


@router.get("/cells", responses=_ANSWERS)
def cells(request: Request, holder: Reader, tray: TrayName) -> Rows:
    """The cells of a tray's newest reading, with the columns of cells.csv."""
    with site_of(request).store.reading() as connection:
        number = latest_of(connection, tray)
        if number is None:
            raise HTTPException(404, "No such tray.")
        return _rows(read_numbers(connection, "cells", [number], CELL_COLUMNS))


@router.get("/picks", responses=_ANSWERS)
def picks(request: Request, holder: Reader, tray: TrayName) -> Rows:
    """What to pick by a tray's newest reading, with the columns of picks.csv."""
    with site_of(request).store.reading() as connection:
        number = latest_of(connection, tray)
        kept = reading_of(connection, number) if number is not None else None
    if kept is None:
        raise HTTPException(404, "No such tray.")
    photo = str(kept.trays["photo"].iloc[0])
    return _rows(pick_list(Reading(photo, tray, kept.cells, kept.trays, kept.criteria))[list(PICK_COLUMNS)])


@router.post("/harvests", responses=_ANSWERS)
def harvest(request: Request, holder: Harvester, record: Cut) -> Written:
    """Write down a cut cell, or grams cut of a tray."""
    site = site_of(request)
    by, address = f"token {holder.name}", request.client.host if request.client is not None else ""
    if bool(record.cell) == (record.weight_g is not None):
        raise HTTPException(422, "Give `cell` for a cut cell, or `weight_g` for the tray; one of them.")
    if record.weight_g is not None:
        with site.store.reading() as connection:
            if latest_of(connection, record.tray) is None:
                raise HTTPException(404, "No such tray.")
        return Written(new=weigh(site, tray=record.tray, grams=record.weight_g, key=record.key, by=by, address=address))
    since = photo_day(site, record.tray, record.cell)
    tick = Tick(record.tray, record.cell, True, record.key, site.today, since)
    return Written(new=write_tick(site, tick, by=by, address=address))


@router.get("/openapi.json", include_in_schema=False)
def description(request: Request, shown: Annotated[HTTPAuthorizationCredentials | None, Depends(_BEARER)]) -> Any:
    """What can be asked for, for those who may ask."""
    if visit_of(request).person is None:
        _good_token(request, shown)
    return request.app.openapi()


def _rows(table: pd.DataFrame) -> Rows:
    return Rows(columns=list(table.columns), rows=[plain(row) for row in table.to_dict("records")])
