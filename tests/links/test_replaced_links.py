"""A link that was replaced may be in a thief's hands: it locks itself alone, tells nothing, and what it sends waits for a person."""

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from server.intake.hold import release, settle
from server.links.make import end_links, replace_link, unlock
from server.models import AuditEntry, Envelope, Flag, Patient, Response
from server.queries.pause import PAUSING, is_paused, pause_of
from tests.clinic_case import Case
from tests.stranger import Stranger, b64u, best

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

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


OF_A_PAUSE = select(Envelope).where(Envelope.held_notice.in_(PAUSING))


def paused(case: Case, patient_id: int) -> tuple[str | None, bool]:
    """As a single message and as the list of those that are due see it."""
    with case.store.reading() as session:
        found = session.scalars(select(Patient.id).where(is_paused(Patient.id))).all()
        return pause_of(session, patient_id), list(found) == [patient_id]


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


@pytest.mark.parametrize("wrong", [4, 5])
def test_a_link_that_was_locked_stays_locked_when_it_is_replaced_and_the_new_one_has_all_its_tries(
    case: Case, wrong: int
) -> None:
    patient_id = case.enrol()
    old = case.phone(patient_id)
    guess(case, old, wrong)
    with case.store.writing() as session:
        replace_link(session, session.get_one(Patient, patient_id), now=case.now)
    case.publish(patient_id)
    guess(case, old, 1)
    guess(case, case.phone(patient_id), 1)
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


@pytest.mark.parametrize(("said", "flag"), [("died", "said_died"), ("stop", "asked_to_stop")])
def test_a_death_told_by_a_replaced_link_pauses_messages_while_it_is_held_and_is_no_flag(
    case: Case, said: str, flag: str
) -> None:
    patient_id, old, _new = replaced(case)
    upload(old, old.seal(old.notice("call_me", case.now)))
    case.process()
    assert paused(case, patient_id) == (None, False)
    upload(old, old.seal(old.notice(said, case.now)))
    case.process()
    assert held(case) == ["replaced_link", "replaced_link"]
    assert paused(case, patient_id) == (flag, True)
    with case.store.writing() as session:
        assert session.scalars(select(Flag)).all() == []
        settle(session, session.scalars(OF_A_PAUSE).one(), "not_the_patient", now=case.now)
    assert paused(case, patient_id) == (None, False)


def test_a_death_that_was_accepted_pauses_on_as_a_flag_without_a_gap(case: Case) -> None:
    patient_id, old, _new = replaced(case)
    upload(old, old.seal(old.notice("died", case.now)))
    case.process()
    with case.store.writing() as session:
        release(session, session.scalars(OF_A_PAUSE).one(), now=case.now)
    assert paused(case, patient_id) == ("said_died", True)
    assert (case.process().recorded, paused(case, patient_id)) == (1, ("said_died", True))
    with case.store.reading() as session:
        assert session.scalars(select(Flag.kind)).all() == ["said_died"]
        assert session.scalars(OF_A_PAUSE).all() == []


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
