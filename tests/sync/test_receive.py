"""Envelopes are stored unread, once, and every refusal stores nothing."""

import json
import uuid

from sqlalchemy import func, select

from server.links.make import correct_birth_date
from server.models import Envelope, Patient, Response
from tests.clinic_case import Case
from tests.stranger import Stranger, b64u, best
from tests.sync.test_due_sheet import WRONG


def opened(case: Case) -> Stranger:
    phone = case.phone(case.enrol())
    phone.fetch()
    return phone


def sealed(case: Case, phone: Stranger) -> str:
    return phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now))


def stored(case: Case) -> int:
    with case.store.reading() as session:
        return session.scalar(select(func.count()).select_from(Envelope)) or 0


def test_a_receipt_carries_the_hash_of_what_was_committed(case: Case) -> None:
    phone = opened(case)
    envelope = sealed(case, phone)
    receipt = phone.send(envelope)[0]
    assert receipt["status"] == "stored"
    with case.store.reading() as session:
        row = session.scalars(select(Envelope)).one()
        assert row.body.decode() == envelope
        assert (row.sha256.hex(), row.state) == (receipt["sha256"], "received")


def test_the_same_bytes_again_are_a_duplicate_and_stored_once(case: Case) -> None:
    phone = opened(case)
    envelope = sealed(case, phone)
    assert [each["status"] for each in phone.send(envelope, envelope)] == ["stored", "duplicate"]
    case.process()
    assert phone.send(envelope)[0]["status"] == "duplicate"
    assert stored(case) == 1


def test_the_same_id_with_other_bytes_is_stored_and_held_for_a_person(case: Case) -> None:
    phone = opened(case)
    payload = phone.payload(phone.sheet["forms"][0], best, case.now)
    envelope_id = str(uuid.uuid4())
    both = [phone.seal(payload, envelope_id=envelope_id) for _copy in range(2)]
    assert [each["status"] for each in phone.send(*both)] == ["stored", "stored"]
    assert (case.process().recorded, stored(case)) == (1, 2)
    with case.store.reading() as session:
        assert session.scalars(select(Envelope.held_reason).where(Envelope.state == "held")).all() == [
            "same_id_other_content"
        ]


def test_a_wrong_proof_and_an_unknown_link_are_refused_alike_and_store_nothing(case: Case) -> None:
    phone = opened(case)
    envelope = sealed(case, phone)
    phone.born = WRONG
    wrong = phone.send(envelope)[0]
    phone.token = "A" * 28
    unknown = phone.send(phone.seal(b"{}"))[0]
    assert [(each["status"], each["reason"], each["sha256"]) for each in (wrong, unknown)] == [
        ("refused", "check", None)
    ] * 2
    assert stored(case) == 0


def test_malformed_and_too_large_are_refused_beside_a_good_one_that_is_stored(case: Case) -> None:
    phone = opened(case)
    good = sealed(case, phone)
    receipts = phone.send("not an envelope", good, "A" * 1_000_000, good[:-200] + ".")
    assert [(each["status"], each["reason"]) for each in receipts] == [
        ("refused", "malformed"),
        ("stored", None),
        ("refused", "too_large"),
        ("refused", "malformed"),
    ]
    assert stored(case) == 1


def test_a_locked_link_refuses_uploads_too(case: Case) -> None:
    patient_id = case.enrol()
    phone = case.phone(patient_id)
    phone.fetch()
    envelope = sealed(case, phone)
    for _try in range(5):
        case.phone(patient_id, born=WRONG).fetch()
    assert phone.send(envelope)[0]["reason"] == "check"


def test_what_was_sealed_before_a_corrected_birth_date_still_arrives_and_counts(case: Case) -> None:
    phone = opened(case)
    envelope = sealed(case, phone)
    with case.store.writing() as session:
        patient = session.scalars(select(Patient)).one()
        correct_birth_date(session, patient, WRONG, now=case.now)
    assert phone.send(envelope)[0]["status"] == "stored"
    assert case.process().recorded == 1


def test_more_than_twenty_and_none_at_all_are_refused_as_a_whole(case: Case) -> None:
    phone = opened(case)
    one = {"envelope": sealed(case, phone), "proof": b64u(phone.derived("proof"))}
    assert case.post("/api/envelopes", {"envelopes": [one] * 21})[0] == 422
    assert case.post("/api/envelopes", {"envelopes": []})[0] == 422
    assert case.post("/api/envelopes", {"wrong": 1})[0] == 422
    assert stored(case) == 0


def test_a_post_over_eight_mebibytes_is_refused_before_it_is_read(case: Case) -> None:
    body = json.dumps({"envelopes": [{"envelope": "A" * (9 * 1024 * 1024), "proof": "x"}]})
    answer = case.app.test_client().post("/api/envelopes", data=body, content_type="application/json")
    assert answer.status_code == 413


def test_one_form_from_two_phones_counts_the_first_received_and_keeps_the_other(case: Case) -> None:
    patient_id = case.enrol()
    first, second = case.phone(patient_id), case.phone(patient_id)
    first.fetch()
    second.fetch()
    second.send(second.seal(second.payload(second.sheet["forms"][0], best, case.now)))
    first.send(first.seal(first.payload(first.sheet["forms"][0], lambda _item: None, case.now)))
    assert case.process().recorded == 2
    with case.store.reading() as session:
        rows = session.scalars(select(Response).order_by(Response.id)).all()
        assert [row.counted for row in rows] == [True, False]
        assert rows[0].scores[0].status == "scored"
