"""The API against its own description: no failure of the server and no answer that is not described."""

from __future__ import annotations

import hashlib

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis import checks

from canopy.store.people import Token, put_token
from canopy.web.app import make_app

TOKEN = "token-for-everything"
HEADERS = {"authorization": f"Bearer {TOKEN}"}
OPERATIONS = ("GET /api/v1/trays", "GET /api/v1/cells", "GET /api/v1/picks", "POST /api/v1/harvests")
EXAMPLES = 25


@pytest.fixture(scope="module")
def operations(site):
    with site.store.writing() as connection:
        checksum = hashlib.sha256(TOKEN.encode()).hexdigest()
        put_token(connection, Token(checksum, "describer", "read harvest", site.now))
    # An application of its own: each request starts it and ends it, and its line of photos with it.
    app = make_app(site, hosts=None)
    described = schemathesis.openapi.from_asgi("/api/v1/openapi.json", app, headers=HEADERS)
    found = [operation.ok() for operation in described.get_all_operations()]
    return {f"{one.method.upper()} {one.path}": one for one in found}


def test_nothing_is_left_out(operations):
    assert set(operations) == set(OPERATIONS)


@pytest.mark.parametrize("name", OPERATIONS)
@pytest.mark.parametrize("mode", list(schemathesis.GenerationMode), ids=lambda mode: mode.name.lower())
def test_no_failure_of_the_server(operations, name, mode):
    """Values as described, and values that are not."""
    operation = operations[name]

    @settings(max_examples=EXAMPLES, deadline=None, derandomize=True, database=None,
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(case=operation.as_strategy(generation_mode=mode))
    def ask(case):
        case.call_and_validate(
            headers=HEADERS,
            checks=[checks.not_a_server_error, checks.status_code_conformance, checks.response_schema_conformance,
                    checks.content_type_conformance],
        )  # fmt: skip

    ask()
