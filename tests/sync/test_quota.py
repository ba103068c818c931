"""A link stores two hundred envelopes a day and no more; the phone is told when to try again, and loses nothing."""

import uuid
from datetime import timedelta

import pytest
from sqlalchemy import func, select

from server.crypto.derive import stored_digest
from server.models import Envelope, GateTries
from server.store.bulk import insert_rows
from server.sync.receive import MOST_A_DAY
from tests.clinic_case import Case
from tests.stranger import Stranger, b64u

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def opened(case: Case, name: str) -> Stranger:
    phone = case.phone(case.enrol(first_name=name))
    phone.fetch()
    return phone


def had_stored(case: Case, phone: Stranger, number: int) -> None:
    """So many envelopes of this link, stored just now."""
    rows = [
        {
            "envelope_id": str(uuid.uuid4()),
            "sha256": number.to_bytes(32),
            "lookup_hash": stored_digest(phone.lookup),
            "key_id": "0011",
            "received_at": case.now,
            "same_id_other_content": False,
            "body": b"sealed",
            "body_wrapped": False,
            "state": "held",
        }
        for _each in range(number)
    ]
    with case.store.writing() as session:
        insert_rows(session, Envelope, rows)


def stored(case: Case, phone: Stranger) -> int:
    of_link = select(func.count()).where(Envelope.lookup_hash == stored_digest(phone.lookup))
    with case.store.reading() as session:
        return session.scalar(of_link) or 0


def posted(case: Case, *sealed: tuple[Stranger, str]) -> tuple[int, str | None, str]:
    """Status, Retry-After and the code or the status of each receipt."""
    body = {"envelopes": [{"envelope": text, "proof": b64u(phone.derived("proof"))} for phone, text in sealed]}
    answer = case.app.test_client().post("/api/envelopes", json=body)
    said = answer.get_json()
    told = said["code"] if "code" in said else " ".join(each["status"] for each in said["receipts"])
    return answer.status_code, answer.headers.get("Retry-After"), told


def test_after_two_hundred_a_link_is_told_to_come_again_and_the_next_day_it_stores(case: Case) -> None:
    phone = opened(case, "Ada")
    had_stored(case, phone, MOST_A_DAY - 1)
    last, more = phone.seal(b"{}"), phone.seal(b"{}")
    assert posted(case, (phone, last)) == (200, None, "stored")
    assert posted(case, (phone, more)) == (503, "3600", "quota")
    assert stored(case, phone) == MOST_A_DAY
    assert posted(case, (phone, last)) == (200, None, "duplicate")
    case.now += timedelta(days=1)
    assert posted(case, (phone, more)) == (200, None, "stored")


def test_a_post_that_would_go_beyond_stores_none_of_that_link(case: Case) -> None:
    phone = opened(case, "Ada")
    had_stored(case, phone, MOST_A_DAY - 1)
    assert posted(case, *((phone, phone.seal(b"{}")) for _each in range(2))) == (503, "3600", "quota")
    assert stored(case, phone) == MOST_A_DAY - 1


def test_the_answers_of_another_person_on_the_same_phone_are_stored_all_the_same(case: Case) -> None:
    many, other = opened(case, "Ada"), opened(case, "Ben")
    had_stored(case, many, MOST_A_DAY)
    waiting = [(many, many.seal(b"{}")), (other, other.seal(b"{}"))]
    assert posted(case, *waiting) == (503, "3600", "quota")
    assert (stored(case, many), stored(case, other)) == (MOST_A_DAY, 1)
    case.now += timedelta(days=1)
    assert posted(case, *waiting) == (200, None, "stored duplicate")


def test_a_wrong_proof_beside_a_link_over_its_quota_is_counted(case: Case) -> None:
    many, guessed = opened(case, "Ada"), opened(case, "Ben")
    had_stored(case, many, MOST_A_DAY)
    wrong = case.phone(case.enrol(first_name="Cleo"))
    body = {
        "envelopes": [
            {"envelope": many.seal(b"{}"), "proof": b64u(many.derived("proof"))},
            {"envelope": guessed.seal(b"{}"), "proof": b64u(wrong.derived("proof"))},
        ]
    }
    assert case.post("/api/envelopes", body)[0] == 503
    with case.store.reading() as session:
        assert session.scalar(select(func.max(GateTries.failures))) == 1


def test_the_quota_of_one_link_is_no_other_link_s(case: Case) -> None:
    had_stored(case, opened(case, "Ada"), MOST_A_DAY)
    other = opened(case, "Ben")
    assert posted(case, (other, other.seal(b"{}"))) == (200, None, "stored")
