"""What is not the protocol's JSON is refused before anything is looked up; every refusal of a proof costs the same write."""

from datetime import date

import pytest
from sqlalchemy import select

from server.models import GateTries
from tests.clinic_case import Case
from tests.stranger import b64u

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.mark.parametrize("path", ["/api/due", "/api/envelopes"])
@pytest.mark.parametrize(
    "body", ["[" * 4000, '{"a": 1, "a": 2}', '{"lookup": NaN}', "\ufeff{}", "", "[]", "null", '"x"']
)
def test_what_is_not_strict_json_or_not_an_object_is_refused_and_never_a_fault(
    case: Case, path: str, body: str
) -> None:
    answer = case.app.test_client().post(path, data=body.encode(), content_type="application/json")
    assert answer.status_code == 422


@pytest.mark.parametrize("number", ["1e999", "-1e999", "NaN", "9" * 5000])
def test_a_number_that_no_double_holds_is_refused_and_never_a_fault(case: Case, number: str) -> None:
    body = f'{{"envelopes": {number}}}'
    answer = case.app.test_client().post("/api/envelopes", data=body, content_type="application/json")
    assert answer.status_code == 422


@pytest.mark.parametrize("lookup", ["", "A" * 42, "A" * 44, "é" * 43, "A" * 42 + "=", 7, None])
def test_a_lookup_of_another_form_is_refused_before_it_is_looked_up(case: Case, lookup: object) -> None:
    assert case.post("/api/due", {"lookup": lookup, "proof": b64u(bytes(32))})[0] == 422


@pytest.mark.parametrize("key_id", ["\ud800", "a b", "../x", "", "k" * 65, "k\0"])
def test_a_key_id_of_other_signs_is_malformed(case: Case, key_id: str) -> None:
    phone = case.phone(case.enrol())
    phone.fetch()
    assert phone.send(phone.seal(b"{}", key_id=key_id))[0]["reason"] == "malformed"


def test_every_refused_proof_writes_one_row_whether_unknown_wrong_or_locked(case: Case) -> None:
    patient = case.enrol()
    unknown = case.phone(patient)
    unknown.token = "A" * 28
    for _try in range(7):
        unknown.fetch()
        case.phone(patient, born=date(1950, 1, 1)).fetch()
    with case.store.reading() as session:
        counted = {row.handle: (row.failures, row.locked_at is not None) for row in session.scalars(select(GateTries))}
    assert counted.pop("") == (7, False)
    assert list(counted.values()) == [(7, True)]
