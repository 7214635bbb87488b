"""The API: the same values as the tables, behind tokens with scopes."""

from __future__ import annotations

import hashlib

import pytest

from canopy.measure.columns import CELL_COLUMNS, TRAY_COLUMNS
from canopy.outputs.picks import PICK_COLUMNS
from canopy.store.newest import latest_of, reading_of
from canopy.store.notebook import cut_cells
from canopy.store.people import Token, put_token

READ, HARVEST, OLD = "token-read-1", "token-harvest-1", "token-old-1"


@pytest.fixture(scope="module", autouse=True)
def _tokens(site):
    with site.store.writing() as connection:
        for text, name, scopes in ((OLD, "erp", "read harvest"), (READ, "screen", "read"), (HARVEST, "erp", "harvest")):
            put_token(connection, Token(hashlib.sha256(text.encode()).hexdigest(), name, scopes, site.now))


def _as(token):
    return {"authorization": f"Bearer {token}"}


def test_trays_and_cells_are_those_of_the_tables(nobody, site):
    told = nobody.get("/api/v1/cells?tray=R1-05", headers=_as(READ)).json()
    assert told["columns"] == [column.name for column in CELL_COLUMNS]
    with site.store.reading() as connection:
        kept = reading_of(connection, latest_of(connection, "R1-05"))
    assert [row["area_mm2"] for row in told["rows"]] == [
        None if area != area else area for area in kept.cells["area_mm2"].tolist()
    ]
    trays = nobody.get("/api/v1/trays", headers=_as(READ)).json()
    assert trays["columns"] == [column.name for column in TRAY_COLUMNS]
    assert {row["tray"] for row in trays["rows"]} >= {"R1-01", "R1-05"}


def test_picks_are_in_walking_order(nobody):
    told = nobody.get("/api/v1/picks?tray=R1-05", headers=_as(READ)).json()
    assert told["columns"] == list(PICK_COLUMNS)
    assert [row["order"] for row in told["rows"]] == list(range(1, len(told["rows"]) + 1))


@pytest.mark.parametrize(("token", "status"), [(READ, 200), (HARVEST, 403), (OLD, 401), ("", 401), ("x" * 5000, 401)])
def test_scope_read(nobody, token, status):
    assert nobody.get("/api/v1/trays", headers=_as(token)).status_code == status


@pytest.mark.parametrize(("token", "status"), [(READ, 403), (OLD, 401)])
def test_scope_harvest(nobody, token, status):
    body = {"key": "api-key-12345", "tray": "R1-05", "cell": "D1"}
    assert nobody.post("/api/v1/harvests", json=body, headers=_as(token)).status_code == status


def test_a_session_is_no_token(crew):
    assert crew.get("/api/v1/trays").status_code == 401
    assert (
        crew.post("/api/v1/harvests", json={"key": "api-key-12345", "tray": "R1-05", "cell": "D1"}).status_code == 401
    )


def test_a_record_sent_twice_counts_once(nobody, site):
    body = {"key": "api-key-00001", "tray": "R1-05", "cell": "D2"}
    told = [nobody.post("/api/v1/harvests", json=body, headers=_as(HARVEST)).json() for _ in range(2)]
    assert told == [{"new": True}, {"new": False}]
    with site.store.reading() as connection:
        assert cut_cells(connection, "R1-05", since="2026-05-04")["D2"] == 1


@pytest.mark.parametrize(
    "body",
    [{}, {"key": "short", "tray": "R1-05", "cell": "D1"}, {"key": "api-key-00002", "tray": "R1-05"},
     {"key": "api-key-00002", "tray": "R1-05", "cell": "Z9"}, {"key": "api-key-00002", "tray": "R1-05", "weight_g": -1},
     {"key": "api-key-00002", "tray": "R1-05", "cell": "D1", "weight_g": 5},
     {"key": "api-key-00002", "extra": 1}, [], 7],
)  # fmt: skip
def test_records_that_make_no_sense_are_refused(nobody, body):
    assert nobody.post("/api/v1/harvests", json=body, headers=_as(HARVEST)).status_code == 422


def test_unknown_trays_are_told(nobody):
    assert nobody.get("/api/v1/cells?tray=R9-99", headers=_as(READ)).status_code == 404
    body = {"key": "api-key-00003", "tray": "R9-99", "weight_g": 5}
    assert nobody.post("/api/v1/harvests", json=body, headers=_as(HARVEST)).status_code == 404


def test_the_description_names_every_place_and_its_refusals(nobody):
    told = nobody.get("/api/v1/openapi.json", headers=_as(READ)).json()
    assert set(told["paths"]) == {f"/api/v1/{name}" for name in ("trays", "cells", "picks", "harvests")}
    for path in told["paths"].values():
        for operation in path.values():
            assert {"401", "403"} <= set(operation["responses"])
