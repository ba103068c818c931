"""A merge is undone after a while: what was entered meanwhile goes with what goes back, or somebody says whose it is."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.clinic.events import record_event
from server.clinic.findings import record_finding
from server.clinic.known_status import record_status
from server.models import (
    ClinicEvent,
    ClinicFinding,
    Consent,
    Flag,
    KnownStatus,
    Link,
    Operation,
    Patient,
    PatientMerge,
    Response,
    Shoulder,
)
from tests.staff.mending.mending_case import WHY, mend, operations_of, patient_of, response_of, status, timepoint_of
from tests.staff.mending.test_merged_in_use import send
from tests.staff.mending.test_same_person import left, make_one, right, undo
from tests.staff.sent_form import inputs_of
from tests.staff.staff_case import Staff, StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def one(staff: StaffCase, nurse: Staff) -> tuple[int, int]:
    """Two records that were made one a minute ago, the kept one first."""
    kept = staff.case.enrol(left(staff), consents=("contact", "research"))
    alias = staff.case.enrol(right(staff), first_name="Bea", consents=("contact", "research"))
    make_one(nurse, kept, "Y-0002")
    staff.case.now += timedelta(minutes=1)
    return kept, alias


def leave(staff: StaffCase, nurse: Staff, patient_id: int, **entered: str) -> None:
    told = {"by": "self", "died_source": "gp", "died_certainty": "confirmed"}
    fields = {"leave-on": staff.case.today.isoformat(), "sure": "yes", **told, **entered}
    assert nurse.post(f"/patients/{patient_id}/leave", fields).status_code == 302


def ends(staff: StaffCase, patient_id: int) -> tuple[bool, str | None]:
    """Whether the patient withdrew, and the kinds of consent that stand."""
    with staff.case.store.reading() as session:
        standing = select(Consent.kind).where(Consent.patient_id == patient_id, Consent.withdrawn_on.is_(None))
        return patient_of(staff, patient_id).withdrew_on is not None, " ".join(sorted(session.scalars(standing)))


def live_links(staff: StaffCase) -> set[int]:
    with staff.case.store.reading() as session:
        return set(session.scalars(select(Link.patient_id).where(Link.ended_at.is_(None))))


@pytest.mark.parametrize(
    ("whose", "of_kept", "of_other"),
    [
        ("both", (True, "research"), (True, "research")),
        ("kept", (True, "research"), (False, "contact research")),
        ("other", (False, "contact research"), (True, "research")),
    ],
)
def test_a_withdrawal_entered_meanwhile_is_asked_about_and_goes_where_a_person_says(
    staff: StaffCase, nurse: Staff, one: tuple[int, int], whose: str, of_kept: Any, of_other: Any
) -> None:
    kept, alias = one
    leave(staff, nurse, kept, reason="withdrew", extent="contact")
    page = f"/patients/{kept}/same-person"
    shown = nurse.get(page).text
    assert "This was entered of the person since." in shown and "Withdrew on 15 June 2026" in shown
    assert inputs_of(shown, f"{page}/1/undo")["undo-1-withdrew"] == "both"  # the stricter one, unless somebody knows
    assert mend(nurse, page, f"{page}/1/undo", **{"undo-1-withdrew": whose}).status_code == 302
    assert (ends(staff, kept), ends(staff, alias)) == (of_kept, of_other)
    assert live_links(staff) == {id_ for id_, (left_, _) in ((kept, of_kept), (alias, of_other)) if not left_}
    open_forms = [status(staff, timepoint_of(staff, each, "year-1").id) for each in one]
    assert open_forms == ["not_expected" if each else "open" for each, _kinds in (of_kept, of_other)]


def test_who_withdrew_is_carried_over_to_a_consent_that_only_the_other_has(staff: StaffCase, nurse: Staff) -> None:
    kept = staff.case.enrol(left(staff), consents=("contact",))
    alias = staff.case.enrol(right(staff), first_name="Bea", consents=("contact", "research"))
    make_one(nurse, kept, "Y-0002")
    staff.case.now += timedelta(minutes=1)
    leave(staff, nurse, kept, reason="withdrew", extent="erasure", by="representative", by_name="B. Guard")
    page = f"/patients/{kept}/same-person"
    assert mend(nurse, page, f"{page}/1/undo", **{"undo-1-withdrew": "both"}).status_code == 302
    with staff.case.store.reading() as session:
        whom = select(Consent.kind, Consent.withdrawn_by, Consent.withdrawn_by_name)
        ended = [tuple(each) for each in session.execute(whom.where(Consent.patient_id == alias))]
    assert sorted(ended) == [(kind, "representative", "B. Guard") for kind in ("contact", "research")]


def test_a_death_lost_capacity_and_a_withdrawn_consent_are_each_asked_about(
    staff: StaffCase, nurse: Staff, one: tuple[int, int]
) -> None:
    kept, alias = one
    page, today = f"/patients/{kept}/consents", staff.case.today.isoformat()
    lost = {"capacity_then": "proxy", "capacity_lost_on": today, "representative": "B. Guard"}
    assert mend(nurse, page, f"/patients/{kept}/capacity", **lost).status_code == 302
    with staff.case.store.reading() as session:
        research = select(Consent.id).where(Consent.patient_id == kept, Consent.kind == "research")
        consent = session.scalars(research).one()
    ended = {f"consent-{consent}-withdrawn_on": today, f"consent-{consent}-withdrawn_by": "self"}
    assert mend(nurse, page, f"{page}/{consent}", **ended).status_code == 302
    leave(staff, nurse, kept, reason="died")
    undone = f"/patients/{kept}/same-person"
    said = {"undo-1-died": "other", "undo-1-capacity": "kept", "undo-1-consent-research": "both"}
    assert mend(nurse, undone, f"{undone}/1/undo", **said).status_code == 302
    now, other = patient_of(staff, kept), patient_of(staff, alias)
    assert (now.died_on, now.capacity_then, now.representative) == (None, "proxy", "B. Guard")
    assert (other.died_on, other.capacity_then) == (staff.case.today, None)
    assert (ends(staff, kept)[1], ends(staff, alias)[1]) == ("contact", "contact")


def test_what_is_entered_while_the_page_is_open_is_not_given_to_anybody_unasked(
    staff: StaffCase, nurse: Staff, one: tuple[int, int]
) -> None:
    kept, alias = one
    page = f"/patients/{kept}/same-person"
    opened = {**inputs_of(nurse.get(page).text, f"{page}/1/undo"), "undo-1-why": WHY}
    leave(staff, nurse, kept, reason="died")
    refused = nurse.post(f"{page}/1/undo", opened)
    assert refused.status_code == 422 and "This was entered meanwhile. Say whose it is." in refused.text
    assert patient_of(staff, alias).merged_into_id == kept


def test_a_farther_withdrawal_than_the_merge_took_over_stays_whole_with_whom_it_was_said_of(
    staff: StaffCase, nurse: Staff
) -> None:
    kept, alias = staff.case.enrol(left(staff)), staff.case.enrol(right(staff), first_name="Bea")
    leave(staff, nurse, alias, reason="withdrew", extent="contact")
    make_one(nurse, kept, "Y-0002")
    staff.case.now += timedelta(minutes=1)
    leave(staff, nurse, kept, reason="withdrew", extent="records")
    page = f"/patients/{kept}/same-person"
    assert mend(nurse, page, f"{page}/1/undo", **{"undo-1-withdrew": "kept"}).status_code == 302
    now, other = patient_of(staff, kept), patient_of(staff, alias)
    assert (now.withdrawal_extent, now.withdrew_on) == ("records", staff.case.today)
    assert other.withdrawal_extent == "contact" and ends(staff, kept) == (True, "research")


def test_what_was_found_and_done_at_a_moved_operation_goes_back_with_it(staff: StaffCase, nurse: Staff) -> None:
    case, day = staff.case, staff.case.today
    washout = ShoulderEntry(side="left", kind="other", surgery_on=day - timedelta(days=400))
    kept, alias = case.enrol(left(staff, 3)), case.enrol(right(staff, 3), washout, first_name="Bea")
    moved = max(operation for operation, side in operations_of(staff, alias).items() if side == "left")
    assert make_one(nurse, kept, "Y-0002").status_code == 302
    case.now += timedelta(minutes=1)
    later = {
        "side": "left",
        "kind": "other",
        "reason": "infection",
        "surgery_on": (day - timedelta(days=5)).isoformat(),
    }
    assert nurse.post(f"/patients/{kept}/operations/new", {**later, "procedure": "washout"}).status_code == 302
    added = max(operations_of(staff, kept))
    stamp: Any = {"now": case.now, "today": day, "by_id": staff.account_id()}
    event = {"kind": "instability", "certainty": "reported", "source_kind": "gp", "happened_precision": "day"}
    with case.store.writing() as session:
        shoulder = session.get_one(Shoulder, session.get_one(Operation, moved).shoulder_id)
        for days in (500, 100):
            on = day - timedelta(days=days)
            record_finding(session, shoulder, {"examined_on": on, "examiner": "Dr Quillhurst"}, **stamp)
            record_event(session, shoulder, {**event, "happened_on": on}, **stamp)
            said: dict[str, Any] = {
                "known_on": on,
                "source": "register",
                "covers": True,
                "implant": "in_place",
                "side": "left",
            }
            record_status(session, session.get_one(Patient, kept), said, **stamp)
    assert undo(staff, nurse, kept).status_code == 302
    assert {moved, added} <= set(operations_of(staff, alias)) and added not in operations_of(staff, kept)
    with case.store.reading() as session:
        owner = select(Shoulder.patient_id)
        events = owner.join(ClinicEvent, ClinicEvent.shoulder_id == Shoulder.id).order_by(ClinicEvent.happened_on)
        findings = owner.join(ClinicFinding, ClinicFinding.shoulder_id == Shoulder.id).order_by(
            ClinicFinding.examined_on
        )
        assert session.scalars(events).all() == [kept, alias] == session.scalars(findings).all()
        known = select(KnownStatus.patient_id).order_by(KnownStatus.known_on)
        assert session.scalars(known).all() == [kept, alias]


def test_what_a_source_says_of_a_whole_shoulder_that_goes_back_goes_with_it(
    staff: StaffCase, nurse: Staff, one: tuple[int, int]
) -> None:
    kept, alias = one
    letter = {"known_on": staff.case.today.isoformat(), "source": "gp_letter", "examined": "yes", "implant": "in_place"}
    for side in ("left", "right"):
        assert nurse.post(f"/patients/{kept}/sources/new", {**letter, "side": side}).status_code == 302
    assert undo(staff, nurse, kept).status_code == 302
    with staff.case.store.reading() as session:
        rows = session.execute(select(KnownStatus.side, KnownStatus.patient_id)).all()
    assert {row.side: row.patient_id for row in rows} == {"left": kept, "right": alias}


def test_an_operation_whose_side_was_corrected_meanwhile_is_not_left_behind(staff: StaffCase, nurse: Staff) -> None:
    kept, alias = staff.case.enrol(left(staff)), staff.case.enrol(right(staff), first_name="Bea")
    [operation] = operations_of(staff, alias)
    assert mend(nurse, f"/patients/{kept}/operations/{min(operations_of(staff, kept))}/side").status_code == 302
    assert mend(nurse, f"/patients/{kept}/operations/{min(operations_of(staff, kept))}/side").status_code == 302
    make_one(nurse, kept, "Y-0002")
    assert operations_of(staff, kept)[operation] == "right"
    staff.case.now += timedelta(minutes=1)
    first = min(operations_of(staff, kept))
    with staff.case.store.writing() as session:
        session.get_one(Operation, first).kind = "other"
    assert mend(nurse, f"/patients/{kept}/operations/{operation}/side").status_code == 302
    refused = undo(staff, nurse, kept)
    assert refused.status_code == 422 and "Correct it back first" in refused.text
    assert patient_of(staff, alias).merged_into_id == kept


def test_what_came_by_the_link_of_the_other_record_takes_its_event_and_its_notice_along(
    staff: StaffCase, nurse: Staff
) -> None:
    case = staff.case
    kept, alias = case.enrol(left(staff)), case.enrol(left(staff), first_name="Ada Maria")
    phone = case.phone(alias)
    make_one(nurse, kept, "Y-0002")
    case.now += timedelta(minutes=1)
    response_id = send(staff, phone)
    phone.send(phone.seal(phone.notice("stop", case.now)))
    case.process()
    with case.store.writing() as session:
        [operation] = operations_of(staff, kept)
        shoulder = session.get_one(Operation, operation).shoulder_id
        session.add(
            ClinicEvent(
                shoulder_id=shoulder, response_id=response_id, item="since@2/8", kind="instability",
                happened_on=case.today, happened_precision="month", certainty="reported", source_kind="patient", made_at=case.now,
            )
        )  # fmt: skip
    assert undo(staff, nurse, kept).status_code == 302
    assert response_of(staff, response_id).patient_id == alias
    with case.store.reading() as session:
        event = session.scalars(select(ClinicEvent)).one()
        assert session.get_one(Shoulder, event.shoulder_id).patient_id == alias
        wishes = session.scalars(select(Flag.patient_id).where(Flag.kind == "asked_to_stop")).all()
        assert wishes == [alias]


def test_of_two_answers_to_one_form_the_one_that_was_received_first_counts(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    kept, alias = case.enrol(left(staff)), case.enrol(left(staff), first_name="Ada Maria")
    theirs = staff.answer(timepoint_of(staff, alias, "year-1").id, {"pain@1/1": 3}, on=case.today)
    case.now += timedelta(minutes=1)
    own = staff.answer(timepoint_of(staff, kept, "year-1").id, {"pain@1/1": 7}, on=case.today)
    make_one(nurse, kept, "Y-0002")
    assert [response_of(staff, each).counted for each in (theirs, own)] == [True, False]
    case.now += timedelta(minutes=1)
    assert undo(staff, nurse, kept).status_code == 302
    assert [response_of(staff, each).counted for each in (theirs, own)] == [True, True]
    assert [response_of(staff, each).patient_id for each in (theirs, own)] == [alias, kept]


def test_answers_set_aside_meanwhile_stay_so_and_no_form_has_two_that_count(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    kept, alias = case.enrol(left(staff)), case.enrol(left(staff), first_name="Ada Maria")
    form = timepoint_of(staff, kept, "year-1").id
    own = staff.answer(form, {}, on=case.today)
    case.now += timedelta(minutes=1)
    theirs = staff.answer(timepoint_of(staff, alias, "year-1").id, {}, on=case.today)
    make_one(nurse, kept, "Y-0002")
    for each in (theirs, own):
        page = f"/responses/{each}/place"
        assert mend(nurse, page, page, reason="not_usable", what="mend").status_code == 302
    case.now += timedelta(minutes=1)
    newer = staff.answer(form, {}, on=case.today)
    assert undo(staff, nurse, kept).status_code == 302
    assert [response_of(staff, each).counted for each in (own, theirs, newer)] == [False, False, True]
    with case.store.reading() as session:
        assert session.scalars(select(PatientMerge.undone_at)).all() == [case.now]
        assert session.scalars(select(Response.id).where(Response.counted)).all() == [newer]
