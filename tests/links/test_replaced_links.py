"""A link that was replaced may be in a thief's hands: it locks itself alone, tells nothing, and what it sends waits for a person."""

from datetime import date, timedelta

from sqlalchemy import select

from server.intake.hold import release, settle
from server.links.make import end_links, replace_link, unlock
from server.models import AuditEntry, Envelope, Flag, Patient, Response
from tests.clinic_case import Case
from tests.stranger import Stranger, b64u, best

CHECK = (403, {"code": "check"})
WRONG = date(1952, 3, 1)


def replaced(case: Case) -> tuple[int, Stranger, Stranger]:
    """The patient, the phone with the old link, which has fetched, and the one with the new link; a minute later."""
    patient_id = case.enrol()
    old = case.phone(patient_id)
    old.fetch()
    case.now += timedelta(minutes=1)
    with case.store.writing() as session:
        replace_link(session, session.get_one(Patient, patient_id), now=case.now)
    case.publish(patient_id)
    case.now += timedelta(minutes=1)
    return patient_id, old, case.phone(patient_id)


def guess(case: Case, phone: Stranger, times: int) -> None:
    for _try in range(times):
        assert Stranger(phone.token, WRONG, case.post).fetch() == CHECK


def upload(phone: Stranger, envelope: str) -> dict[str, object]:
    return phone.send(envelope)[0]


def sealed(case: Case, phone: Stranger) -> str:
    return phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now))


def held(case: Case) -> list[str | None]:
    with case.store.reading() as session:
        return list(session.scalars(select(Envelope.held_reason).where(Envelope.state == "held")))


def test_wrong_dates_on_a_replaced_link_lock_it_alone(case: Case) -> None:
    _, old, new = replaced(case)
    assert old.fetch()[1]["state"] == "replaced"
    guess(case, old, 5)
    assert old.fetch() == CHECK, "a right guess must not give the birth date away"
    assert upload(old, sealed(case, old))["reason"] == "check"
    assert new.fetch()[0] == 200


def test_unlocking_the_patient_leaves_a_locked_old_link_locked_and_unable_to_lock_again(case: Case) -> None:
    patient_id, old, new = replaced(case)
    guess(case, new, 5)
    guess(case, old, 5)
    with case.store.writing() as session:
        unlock(session, session.get_one(Patient, patient_id), now=case.now)
    guess(case, old, 7)
    assert (new.fetch()[0], old.fetch()) == (200, CHECK)


def test_a_link_that_was_locked_stays_locked_when_it_is_replaced(case: Case) -> None:
    patient_id = case.enrol()
    old = case.phone(patient_id)
    guess(case, old, 5)
    with case.store.writing() as session:
        replace_link(session, session.get_one(Patient, patient_id), now=case.now)
        unlock(session, session.get_one(Patient, patient_id), now=case.now)
    case.publish(patient_id)
    assert (old.fetch(), case.phone(patient_id).fetch()[0]) == (CHECK, 200)


def test_an_ended_link_locks_itself_alone_too(case: Case) -> None:
    patient_id = case.enrol()
    ended = case.phone(patient_id)
    with case.store.writing() as session:
        end_links(session, session.get_one(Patient, patient_id), now=case.now)
    guess(case, ended, 5)
    assert (ended.fetch(), case.phone(patient_id).fetch()[0]) == (CHECK, 200)


def test_what_a_replaced_link_sends_is_held_until_a_person_accepts_it(case: Case) -> None:
    _, old, _new = replaced(case)
    assert upload(old, sealed(case, old))["status"] == "stored"
    assert (case.process().recorded, held(case)) == (0, ["replaced_link"])
    with case.store.writing() as session:
        release(session, session.scalars(select(Envelope)).one(), now=case.now)
    assert (case.process().recorded, held(case)) == (1, [])
    with case.store.reading() as session:
        response = session.scalars(select(Response)).one()
        assert (response.counted, response.window_state) == (True, "in")
        assert "envelope:tried_again" in set(session.scalars(select(AuditEntry.action)))


def test_a_person_may_settle_it_as_not_the_patients_and_nothing_counts(case: Case) -> None:
    _, old, new = replaced(case)
    upload(old, sealed(case, old))
    case.process()
    with case.store.writing() as session:
        settle(session, session.scalars(select(Envelope)).one(), "not_the_patient", now=case.now)
    assert case.process().recorded == 0
    new.fetch()
    assert (len(new.sheet["forms"]), new.sheet["held"]) == (1, []), "the new link's phone is still asked"


def test_a_death_told_by_a_replaced_link_pauses_nothing(case: Case) -> None:
    _, old, _new = replaced(case)
    upload(old, old.seal(old.notice("died", case.now)))
    case.process()
    with case.store.reading() as session:
        assert (held(case), session.scalars(select(Flag)).all()) == (["replaced_link"], [])


def test_what_came_before_the_replacement_counts_though_it_is_read_after(case: Case) -> None:
    patient_id = case.enrol()
    old = case.phone(patient_id)
    old.fetch()
    upload(old, sealed(case, old))
    case.now += timedelta(minutes=1)
    with case.store.writing() as session:
        replace_link(session, session.get_one(Patient, patient_id), now=case.now)
    assert (case.process().recorded, held(case)) == (1, [])


def test_what_an_ended_link_sends_still_counts(case: Case) -> None:
    patient_id = case.enrol()
    phone = case.phone(patient_id)
    phone.fetch()
    case.now += timedelta(minutes=1)
    with case.store.writing() as session:
        end_links(session, session.get_one(Patient, patient_id), now=case.now)
    upload(phone, sealed(case, phone))
    assert (case.process().recorded, held(case)) == (1, [])


def test_unknown_and_dead_links_are_refused_alike(case: Case) -> None:
    _, old, _new = replaced(case)
    guess(case, old, 5)
    body = {"lookup": b64u(bytes(32)), "proof": b64u(bytes(32))}
    assert case.post("/api/due", body)[:2] == old.fetch() == CHECK
