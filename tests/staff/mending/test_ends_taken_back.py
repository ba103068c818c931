"""A death, a withdrawal, a move entered for the wrong person are taken back; a withdrawal says how far it goes, and what stays open."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import AuditEntry, Consent, Gate, Link, Patient, Response
from server.queries.last_known import last_known_of
from server.reminders.contact_block import reason_not_to_contact
from server.schedule.last_known import Source
from tests.staff.mending.mending_case import WHY, mend, patient_of, reasons, status, timepoint_of
from tests.staff.sent_form import send
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.stranger import Stranger, best

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def ada(staff: StaffCase) -> int:
    return staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1)))


TOLD = {
    "died": {"died_source": "gp", "died_certainty": "confirmed"},
    "withdrew": {"by": "self"},
    "transferred": dict[str, str](),
}


def leave(member: Staff, staff: StaffCase, patient_id: int, reason: str, **changed: str) -> int:
    page = f"/patients/{patient_id}/leave"
    fields = {"leave-on": staff.case.today.isoformat(), "sure": "yes", **TOLD[reason], **changed}
    return send(member, f"{page}?what={reason}", page, fields).status_code


@pytest.mark.parametrize(("reason", "extent"), [("died", ""), ("transferred", ""), ("withdrew", "contact")])
def test_an_end_entered_for_the_wrong_person_is_taken_back_and_the_link_opens_again(
    staff: StaffCase, nurse: Staff, ada: int, reason: str, extent: str
) -> None:
    open_form = timepoint_of(staff, ada, "year-1").id
    token = staff.case.phone(ada).token
    assert leave(nurse, staff, ada, reason, extent=extent) == 302
    assert status(staff, open_form) == "not_expected"
    page = f"/patients/{ada}/leave"
    without = send(nurse, page, f"{page}/{reason}", {})
    assert without.status_code == 422 and "Write why." in without.text
    assert mend(nurse, page, f"{page}/{reason}").location == f"/patients/{ada}?done=end-taken-back"
    assert getattr(patient_of(staff, ada), f"{reason}_on") is None
    assert status(staff, open_form) == "open"
    with staff.case.store.reading() as session:
        assert session.scalars(select(Link.ended_at)).all() == [None]
        assert session.scalars(select(Gate.state)).all() == ["due"]
        assert {each.withdrawn_on for each in session.scalars(select(Consent))} == {None}
        assert f"patient:{reason}_taken_back" in session.scalars(select(AuditEntry.action)).all()
    assert (f"{reason}_on", staff.case.today.isoformat(), None, WHY) in reasons(staff)
    phone = staff.case.phone(ada)
    assert phone.token == token and phone.fetch()[0] == 200
    assert leave(nurse, staff, ada, "died", **{"leave-on": "2026-06-01"}) == 302


def test_a_link_that_was_ended_opens_with_a_birth_date_corrected_meanwhile(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    leave(nurse, staff, ada, "died")
    send(nurse, f"/patients/{ada}", f"/patients/{ada}/birth-date", {"birth_on": "1952-02-28"})
    mend(nurse, f"/patients/{ada}/leave", f"/patients/{ada}/leave/died")
    assert staff.case.phone(ada).fetch()[0] == 200


def test_a_withdrawal_says_how_far_it_goes_and_leaves_the_rest_open(staff: StaffCase, nurse: Staff, ada: int) -> None:
    page, today = f"/patients/{ada}/leave", staff.case.today
    form = timepoint_of(staff, ada, "year-1").id
    missing = send(nurse, f"{page}?what=withdrew", page, {"leave-on": today.isoformat(), "sure": "yes"})
    assert missing.status_code == 422 and "Ask how far it goes" in missing.text
    assert leave(nurse, staff, ada, "withdrew", extent="messages") == 302
    kept = patient_of(staff, ada)
    assert (kept.messages_stopped_on, kept.withdrew_on, kept.withdrawal_extent) == (today, None, "messages")
    assert status(staff, form) == "open"  # it can still be asked by telephone
    with staff.case.store.reading() as session:
        patient = session.get_one(type(kept), ada)
        assert reason_not_to_contact(patient, "email", today) == "messages_stopped"
        assert session.scalars(select(Link.ended_at)).all() == [None]
    assert leave(nurse, staff, ada, "withdrew", extent="messages") == 422  # said already
    assert leave(nurse, staff, ada, "withdrew", extent="contact") == 302
    assert status(staff, form) == "not_expected"
    call = nurse.post(f"/patients/{ada}/attempts", {"channel": "telephone", "result": "reached"})
    assert call.status_code == 422 and "asked for no more contact on 15 June 2026." in call.text


def test_a_death_known_otherwise_is_entered_within_a_withdrawal_that_leaves_records_open(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    earlier = (staff.case.today - timedelta(days=10)).isoformat()
    leave(nurse, staff, ada, "withdrew", extent="contact", **{"leave-on": earlier})
    assert leave(nurse, staff, ada, "died") == 302
    assert patient_of(staff, ada).died_on == staff.case.today


def test_nothing_after_a_withdrawal_from_records_is_entered(staff: StaffCase, nurse: Staff, ada: int) -> None:
    earlier = (staff.case.today - timedelta(days=10)).isoformat()
    leave(nurse, staff, ada, "withdrew", extent="records", **{"leave-on": earlier})
    page = f"/patients/{ada}/leave"
    died = {"leave-on": staff.case.today.isoformat(), "sure": "yes", **TOLD["died"]}
    refused = send(nurse, f"{page}?what=died", page, died)
    assert refused.status_code == 422 and "nothing more be taken from records" in refused.text
    revision = {"side": "left", "kind": "revision", "surgery_on": (staff.case.today - timedelta(days=2)).isoformat()}
    added = nurse.post(f"/patients/{ada}/operations/new", revision)
    assert added.status_code == 422 and "nothing more be taken from records" in added.text


@pytest.mark.parametrize(
    ("where", "day", "entered"),
    [
        (
            "events/new",
            "happened_on",
            {"kind": "instability", "certainty": "reported", "source_kind": "gp"},
        ),
        ("findings/new", "examined_on", {"examiner": "Dr Quillhurst"}),
        ("sources/new", "known_on", {"source": "gp_letter", "alive": "alive"}),
    ],
)
def test_what_a_withdrawal_closed_is_refused_on_every_page_and_what_came_before_is_completed(
    staff: StaffCase, nurse: Staff, ada: int, where: str, day: str, entered: dict[str, str]
) -> None:
    withdrawn = staff.case.today - timedelta(days=10)
    visit = {"side": "left", "examiner": "Dr Quillhurst", "examined_on": (withdrawn - timedelta(days=1)).isoformat()}
    seen = str(nurse.post(f"/patients/{ada}/findings/new", visit).location).partition("?")[0]
    leave(nurse, staff, ada, "withdrew", extent="records", **{"leave-on": withdrawn.isoformat()})
    page, fields = f"/patients/{ada}/{where}", {"side": "left", **entered}
    refused = nurse.post(page, {**fields, day: withdrawn.isoformat()})
    assert refused.status_code == 422 and "nothing more be taken from records" in refused.text
    assert nurse.post(page, {**fields, day: (withdrawn - timedelta(days=1)).isoformat()}).status_code == 302
    told = nurse.post(f"{seen}/constant", {"item-1": "30", "told_on": staff.case.today.isoformat()})
    assert told.status_code == 422 and "nothing more be taken from records" in told.text


def test_who_is_moved_before_the_operation_is_refused(staff: StaffCase, nurse: Staff, ada: int) -> None:
    page = f"/patients/{ada}/leave"
    before = (years_ago(staff.case, 1) - timedelta(days=1)).isoformat()
    moved, died = (
        send(nurse, f"{page}?what={reason}", page, {"leave-on": before, "sure": "yes", **TOLD[reason]})
        for reason in ("transferred", "died")
    )
    assert "is before an operation of this patient" in moved.text and "is before an operation" in died.text
    assert (moved.status_code, died.status_code) == (422, 422)


def test_consents_that_were_withdrawn_apart_stay_so(staff: StaffCase, nurse: Staff, ada: int) -> None:
    with staff.case.store.writing() as session:
        research = session.scalars(select(Consent).where(Consent.kind == "research")).one()
        research.withdrawn_on = staff.case.today
    leave(nurse, staff, ada, "withdrew", extent="erasure")
    mend(nurse, f"/patients/{ada}/leave", f"/patients/{ada}/leave/withdrew")
    with staff.case.store.reading() as session:
        kinds = session.execute(select(Consent.kind, Consent.withdrawn_on).order_by(Consent.kind)).all()
    assert [tuple(row) for row in kinds] == [("contact", None), ("research", staff.case.today)]


def forms_on(phone: Stranger) -> int:
    phone.fetch()
    return len(phone.sheet["forms"])


@pytest.mark.parametrize(("then", "expected"), [("stop", "not_expected"), ("proxy", "open")])
def test_lost_capacity_where_questionnaires_stop_leaves_nothing_expected_until_taken_back(
    staff: StaffCase, nurse: Staff, ada: int, then: str, expected: str
) -> None:
    phone = staff.case.phone(ada)
    assert forms_on(phone) == 1
    form = timepoint_of(staff, ada, "year-1").id
    page, action = f"/patients/{ada}/consents", f"/patients/{ada}/capacity"
    lost = {"capacity_then": then, "capacity_lost_on": staff.case.today.isoformat(), "representative": "B. Guard, son"}
    assert mend(nurse, page, action, **lost).status_code == 302
    kept = timepoint_of(staff, ada, "year-1")
    assert (status(staff, form), kept.not_expected_reason) == (
        expected,
        "capacity_lost" if expected == "not_expected" else None,
    )
    assert forms_on(phone) == (expected == "open")
    assert ("questionnaires stop" in nurse.get(f"/patients/{ada}").text) == (expected == "not_expected")
    back = {"capacity_then": "", "capacity_lost_on": "", "representative": ""}
    assert mend(nurse, page, action, **back).status_code == 302
    assert (status(staff, form), forms_on(phone)) == ("open", 1)


def test_what_the_representative_answers_by_the_link_is_no_score_of_the_patient(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    page, action = f"/patients/{ada}/consents", f"/patients/{ada}/capacity"
    lost = {"capacity_then": "proxy", "capacity_lost_on": staff.case.today.isoformat(), "representative": "B. Guard"}
    assert mend(nurse, page, action, **lost).status_code == 302
    phone = staff.case.phone(ada)
    phone.fetch()
    said_own = phone.payload(phone.sheet["forms"][0], best, staff.case.now)
    phone.send(phone.seal(said_own))
    assert said_own["answered_by"] == "patient" and staff.case.process().recorded == 1
    with staff.case.store.reading() as session:
        response = session.scalars(select(Response)).one()
        assert (response.counted, response.answered_by, response.scores) == (True, "someone_else", [])
        known = last_known_of(session, session.get_one(Patient, ada), staff.case.today)
        assert known.reported_alive is not None and known.reported_alive.source == Source.ANSWER_FOR
    shown = nurse.get(f"/responses/{response.id}").text
    assert "someone else" in shown and "no score" not in shown
    of_patient = nurse.get(f"/patients/{ada}").text
    assert "The representative answers: B. Guard." in of_patient and "no score, as somebody else answered" in of_patient
    assert "One of one form answered; by somebody else: year 1." in of_patient
    assert "No answers yet" not in of_patient and "Somebody else answered, and that gives no score" in of_patient
