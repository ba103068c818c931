"""The phone's routes answer as their own description says, whatever is sent to them."""

from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis.strategies import SearchStrategy
from schemathesis.core.result import Ok

from server.app import create_app
from tests.clinic_case import Case

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

ROUTES = {"POST /api/due", "POST /api/envelopes"}


def calls(case: Case) -> dict[str, SearchStrategy[schemathesis.Case[Any]]]:
    """By route, what its description allows to be sent."""
    described = schemathesis.openapi.from_wsgi("/api/openapi.json", create_app(case.runtime))
    operations = [each.ok() for each in described.get_all_operations() if isinstance(each, Ok)]
    return {f"{each.method.upper()} {each.path}": each.as_strategy() for each in operations}


def test_every_answer_has_a_described_status_and_form(case: Case) -> None:
    found = calls(case)
    assert set(found) == ROUTES
    statuses: set[int] = set()

    for route, strategy in found.items():

        @settings(max_examples=100, suppress_health_check=list(HealthCheck))
        @given(call=strategy)
        def send(call: schemathesis.Case[Any]) -> None:
            answer = call.call()
            call.validate_response(answer)
            statuses.add(answer.status_code)

        send()
        assert statuses, route
        assert 500 not in statuses
