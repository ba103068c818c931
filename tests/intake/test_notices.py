"""What a patient says beside the answers of a form becomes one flag; what cannot be taken is held, as forms are."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.exports import export_set
from server.intake.hold import release, settle
from server.models import Envelope, Flag, Patient, Response, Timepoint
from tests.clinic_case import Case
from tests.stranger import Stranger, best

# What is done with it is Python's; test_process.py records on both databases.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def opened(case: Case, side: str = "right") -> Stranger:
    phone = case.phone(case.enrol(ShoulderEntry(side=side, surgery_on=case.today - timedelta(days=365))))
    phone.fetch()
    return phone


def flags(case: Case) -> list[tuple[Any, ...]]:
    with case.store.reading() as session:
        rows = session.scalars(select(Flag).order_by(Flag.id))
        return [(row.kind, row.patient_id, row.timepoint_id, row.true_side, row.response_id) for row in rows]


def held(case: Case) -> list[str | None]:
    with case.store.reading() as session:
        return list(session.scalars(select(Envelope.held_reason).where(Envelope.state == "held").order_by(Envelope.id)))


KINDS = {
    "wrong_side": "said_wrong_side",
    "wrong_date": "said_wrong_date",
    "wrong_person": "said_wrong_person",
    "died": "said_died",
    "stop": "asked_to_stop",
    "call_me": "asked_for_call",
}


def test_each_kind_of_notice_becomes_one_flag_of_its_patient_and_no_response(case: Case) -> None:
    phone = opened(case)
    receipts = phone.send(*(phone.seal(phone.notice(kind, case.now)) for kind in KINDS))
    assert {each["status"] for each in receipts} == {"stored"}
    counts = case.process()
    assert (counts.recorded, counts.held) == (6, 0)
    with case.store.reading() as session:
        patient_id = session.scalars(select(Patient.id)).one()
        assert session.scalars(select(Response.id)).all() == []
        assert set(session.scalars(select(Timepoint.answered_on))) == {None}
    assert flags(case) == [(kind, patient_id, None, None, None) for kind in KINDS.values()]


def test_a_wrong_side_said_within_a_form_keeps_the_form_and_the_side_that_is_right(case: Case) -> None:
    phone = opened(case)
    form_id = phone.sheet["forms"][0]["form_id"]
    phone.send(phone.seal(phone.notice("wrong_side", case.now, form_id=form_id, true_side="left")))
    case.process()
    with case.store.reading() as session:
        timepoint = session.scalars(select(Timepoint).where(Timepoint.form_id == form_id)).one()
    assert [each[2:4] for each in flags(case)] == [(timepoint.id, "left")]


def test_the_same_envelope_twice_is_one_flag_and_its_bytes_lie_under_the_patients_key(case: Case) -> None:
    phone = opened(case)
    envelope = phone.seal(phone.notice("call_me", case.now))
    assert [each["status"] for each in phone.send(envelope, envelope)] == ["stored", "duplicate"]
    case.process()
    assert phone.send(envelope)[0]["status"] == "duplicate"
    case.process()
    assert len(flags(case)) == 1
    with case.store.reading() as session:
        row, handle = session.scalars(select(Envelope)).one(), session.scalars(select(Patient.handle)).one()
        opened_again = case.runtime.keys.patient_cipher(handle).open(row.body, "envelope.body")
        assert (row.state, row.body_wrapped, opened_again.decode()) == ("recorded", True, envelope)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"notice": "hello"}, "answers_not_valid"),
        ({"notice": None}, "answers_not_valid"),
        ({"true_side": "both"}, "answers_not_valid"),
        ({"notice": "call_me", "true_side": "left"}, "answers_not_valid"),
        ({"noticed_at": "1969-12-31T23:59:59.999Z"}, "answers_not_valid"),
        ({"noticed_at": "2026-06-15T09:00:00Z"}, "answers_not_valid"),
        ({"form_id": "none"}, "answers_not_valid"),
        ({"form_id": "00000000-0000-0000-0000-000000000001"}, "unknown_form"),
        ({"kind": "letter"}, "answers_not_valid"),
        ({"kind": ["notice"]}, "answers_not_valid"),
    ],
)
def test_a_notice_that_does_not_fit_is_held_with_its_reason(case: Case, change: dict[str, Any], reason: str) -> None:
    phone = opened(case)
    phone.send(phone.seal({**phone.notice("wrong_side", case.now), **change}))
    assert (case.process().held, held(case), flags(case)) == (1, [reason], [])


def test_a_notice_sealed_with_another_key_or_about_another_patients_form_is_held(case: Case) -> None:
    phone, other = opened(case), opened(case, "left")
    foreign = other.sheet["forms"][0]["form_id"]
    phone.send(
        phone.seal(phone.notice("died", case.now), answer_key=bytes(32)),
        phone.seal(phone.notice("wrong_date", case.now, form_id=foreign)),
    )
    case.process()
    assert (held(case), flags(case)) == (["wrong_answer_key", "unknown_form"], [])


def test_a_notice_of_an_erased_patient_is_held(case: Case) -> None:
    phone = opened(case)
    with case.store.writing() as session:
        session.scalars(select(Patient)).one().erased_at = case.now
    phone.send(phone.seal(phone.notice("call_me", case.now)))
    case.process()
    assert held(case) == ["erased"]


def test_forms_and_notices_of_one_post_are_both_taken_and_a_form_may_say_that_it_is_one(case: Case) -> None:
    phone = opened(case)
    form = {**phone.payload(phone.sheet["forms"][0], best, case.now), "kind": "form"}
    phone.send(phone.seal(phone.notice("call_me", case.now)), phone.seal(form))
    assert case.process().recorded == 2
    with case.store.reading() as session:
        assert len(session.scalars(select(Response)).all()) == 1
    assert "asked_for_call" in [each[0] for each in flags(case)]


def test_an_export_beside_a_notice_is_the_one_without_it(case: Case, tmp_path: Any) -> None:
    phone = opened(case)
    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now)))
    case.process()
    before, after = tmp_path / "before", tmp_path / "after"
    arguments = (case.store, case.runtime.keys.patient_cipher, case.runtime.library)
    export_set(*arguments, before, now=case.now)
    phone.send(phone.seal(phone.notice("wrong_side", case.now)))
    case.process()
    export_set(*arguments, after, now=case.now)
    files = sorted(path.name for path in before.iterdir())
    assert files and [(before / name).read_bytes() for name in files] == [(after / name).read_bytes() for name in files]


def held_on_phone(phone: Stranger) -> list[str]:
    phone.fetch()
    return list(phone.sheet["held"])


def test_a_form_that_is_held_is_told_to_its_phone_at_the_next_fetch_until_a_person_settled_it(case: Case) -> None:
    phone = opened(case)
    form = phone.sheet["forms"][0]
    assert phone.sheet["held"] == []
    payload = phone.payload(form, best, case.now)
    phone.send(phone.seal({**payload, "parts": []}), phone.seal({**payload, "mode": "telepathy"}))
    case.process()
    assert held(case) == ["answers_not_valid", "answers_not_valid"]
    assert held_on_phone(phone) == [form["form_id"]]
    with case.store.writing() as session:
        for row in session.scalars(select(Envelope)):
            settle(session, row, "patient_asked", now=case.now)
    case.process()
    assert held_on_phone(phone) == []


def test_what_was_held_and_could_be_taken_again_is_told_no_more(case: Case) -> None:
    phone = opened(case)
    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now)))
    with case.store.writing() as session:
        session.scalars(select(Patient)).one().erased_at = case.now
    case.process()
    assert (held(case), len(held_on_phone(phone))) == (["erased"], 1)
    with case.store.writing() as session:
        session.scalars(select(Patient)).one().erased_at = None
        release(session, session.scalars(select(Envelope)).one(), now=case.now)
    assert case.process().recorded == 1
    assert held_on_phone(phone) == []


def test_a_notice_that_is_held_is_no_held_form(case: Case) -> None:
    phone = opened(case)
    form_id = phone.sheet["forms"][0]["form_id"]
    phone.send(phone.seal(phone.notice("hello", case.now, form_id=form_id)))
    case.process()
    assert (held(case), held_on_phone(phone)) == (["answers_not_valid"], [])
