"""What a phone gets before and after a right proof."""

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.crypto.token import new_token
from server.links.make import correct_birth_date, end_links, find_live_link, replace_link, unlock
from server.models import Gate, Patient
from tests.clinic_case import Case

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

CHECK = (403, {"code": "check"})
WRONG = date(1952, 3, 1)


def test_a_right_birth_date_opens_what_is_due(case: Case) -> None:
    phone = case.phone(case.enrol())
    status, body = phone.fetch()
    assert (status, body["state"]) == (200, "due")
    assert phone.sheet["patient"] == {"first_name": "Ada", "language": "en"}
    assert [(form["timepoint"], form["side"]) for form in phone.sheet["forms"]] == [("year-1", "right")]
    assert phone.sheet["clinic"]["emergency_number"] == "112"
    assert set(phone.sheet["texts"]["sst@1"]) == {"en", "es"}


def test_two_shoulders_due_are_two_forms_with_their_sides(case: Case) -> None:
    operated_on = case.today - timedelta(days=365)
    sides = [ShoulderEntry(side=side, surgery_on=operated_on) for side in ("left", "right")]
    phone = case.phone(case.enrol(*sides))
    phone.fetch()
    assert sorted(form["side"] for form in phone.sheet["forms"]) == ["left", "right"]
    assert len({form["form_id"] for form in phone.sheet["forms"]}) == 2


def test_the_preferred_shoulder_is_asked_once_in_the_yearly_form_of_the_one_operated_on_later(case: Case) -> None:
    first, second = case.today - timedelta(days=5 * 365 + 1), case.today - timedelta(days=2 * 365)
    shoulders = ShoulderEntry(side="left", surgery_on=first), ShoulderEntry(side="right", surgery_on=second)
    phone = case.phone(case.enrol(*shoulders))
    phone.fetch()
    last = {(form["side"], form["timepoint"]): form["parts"][-1] for form in phone.sheet["forms"]}
    assert last["right", "year-2"] == {"instrument": "preference@1", "items": ["1"]}
    assert last["left", "year-5"]["instrument"] == "sst@1"
    assert set(phone.sheet["texts"]["preference@1"]) == {"en", "es"} and "preference@1" in phone.sheet["instruments"]
    alone = case.phone(case.enrol(shoulders[1], first_name="Bo", email="bo@patient.example"))
    alone.fetch()
    assert [form["parts"][-1]["instrument"] for form in alone.sheet["forms"]] == ["sst@1"]


def test_an_operation_of_two_weeks_ago_is_named_while_only_a_form_of_the_other_shoulder_is_open(case: Case) -> None:
    fresh, long_ago = case.today - timedelta(days=14), case.today - timedelta(days=5 * 365 + 1)
    sides = ShoulderEntry(side="left", surgery_on=long_ago), ShoulderEntry(side="right", surgery_on=fresh)
    phone = case.phone(case.enrol(*sides))
    phone.fetch()
    assert [(form["side"], form["timepoint"]) for form in phone.sheet["forms"]] == [("left", "year-5")]
    assert phone.sheet["operated_on"] == fresh.isoformat()


def test_an_unknown_link_a_wrong_date_and_a_locked_link_get_the_same_answer(case: Case) -> None:
    patient = case.enrol()
    unknown = case.phone(patient)
    unknown.token = new_token()
    assert unknown.fetch() == CHECK
    for _try in range(5):
        assert case.phone(patient, born=WRONG).fetch() == CHECK
    assert case.phone(patient).fetch() == CHECK


def test_a_right_date_before_the_fifth_wrong_one_starts_the_count_anew(case: Case) -> None:
    patient = case.enrol()
    for _try in range(4):
        case.phone(patient, born=WRONG).fetch()
    assert case.phone(patient).fetch()[0] == 200
    for _try in range(4):
        case.phone(patient, born=WRONG).fetch()
    assert case.phone(patient).fetch()[0] == 200


def test_five_wrong_dates_lock_for_good_and_only_the_clinic_unlocks(case: Case) -> None:
    patient_id = case.enrol()
    for _try in range(5):
        case.phone(patient_id, born=WRONG).fetch()
    case.now += timedelta(days=365)
    assert case.phone(patient_id).fetch() == CHECK
    with case.store.writing() as session:
        unlock(session, session.get_one(Patient, patient_id), now=case.now)
    assert case.phone(patient_id).fetch()[0] == 200


def test_a_replaced_and_an_ended_link_say_so_and_hold_no_sheet(case: Case) -> None:
    patient_id = case.enrol()
    old = case.phone(patient_id)
    with case.store.writing() as session:
        patient = session.get_one(Patient, patient_id)
        replace_link(session, patient, now=case.now)
    assert old.fetch() == (200, {"state": "replaced", "sheet": None, "server_time": "2026-06-15T09:00:00.000Z"})
    current = case.phone(patient_id)
    with case.store.writing() as session:
        end_links(session, session.get_one(Patient, patient_id), now=case.now)
    assert current.fetch()[1]["state"] == "ended"


def test_after_a_corrected_birth_date_the_same_link_opens_with_the_new_one_only(case: Case) -> None:
    patient_id = case.enrol()
    before = case.phone(patient_id)
    with case.store.writing() as session:
        correct_birth_date(session, session.get_one(Patient, patient_id), WRONG, now=case.now)
    case.publish(patient_id)
    after = case.phone(patient_id)
    assert after.token == before.token
    assert after.fetch()[0] == 200
    assert before.fetch() == CHECK


def test_publishing_again_without_a_change_keeps_the_revision(case: Case) -> None:
    patient_id = case.enrol()
    phone = case.phone(patient_id)
    first = phone.fetch()[1]["sheet"]["revision"]
    case.publish(patient_id)
    assert phone.fetch()[1]["sheet"]["revision"] == first


def test_the_phone_facing_rows_hold_nothing_of_the_patient_in_clear(case: Case) -> None:
    patient_id = case.enrol()
    with case.store.reading() as session:
        gate = session.scalars(select(Gate)).one()
        link = find_live_link(session, session.get_one(Patient, patient_id))
        assert link is not None
        assert gate.ciphertext is not None
        for secret in (b"Ada", b"1952-02-29", (link.token or "").encode()):
            assert secret not in gate.ciphertext
            assert secret not in gate.lookup_hash + gate.handle.encode()
