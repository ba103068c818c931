"""Wrong side, wrong person: answers are set aside, moved on a ground only, and the operation's side is put right."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import Select, select, text

from server.clinic.entries import ShoulderEntry
from server.clinic.misplaced import Reader, places_for
from server.forms.stored import open_answers
from server.models import (
    ClinicEvent,
    ClinicFinding,
    Component,
    Flag,
    FollowUp,
    KnownStatus,
    Message,
    Operation,
    Patient,
    Response,
    ResponseMend,
    Score,
    Shoulder,
    Timepoint,
)
from server.queries.last_known import last_known_of
from server.schedule.last_known import Known, Source
from server.timepoints.asked import note_asked
from server.timepoints.transitions import mark_ladder_exhausted
from tests.staff.mending.mending_case import WHY, mend, operations_of, reasons, response_of, status, timepoint_of
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.stranger import best

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def ada(staff: StaffCase) -> int:
    return staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1)))


def answered(staff: StaffCase, patient_id: int, code: str = "year-1") -> int:
    return staff.answer(timepoint_of(staff, patient_id, code).id, {"pain@1/1": 3}, on=staff.case.today)


def confirmed(staff: StaffCase) -> dict[str, str]:
    return {"confirmed_by": "Ada Arden", "confirmed_on": staff.case.today.isoformat(), "confirmed_how": "telephone"}


def scores(staff: StaffCase, response_id: int) -> dict[tuple[str, str], float | None]:
    with staff.case.store.reading() as session:
        rows = session.scalars(select(Score).where(Score.response_id == response_id))
        return {(row.instrument, row.scale): row.value for row in rows}


def mends(staff: StaffCase) -> list[tuple[str, str, str | None, str | None]]:
    with staff.case.store.reading() as session:
        rows = session.scalars(select(ResponseMend).order_by(ResponseMend.id))
        return [(row.what, row.reason, row.ground, row.confirmed_by) for row in rows]


def test_answers_keep_the_side_that_their_form_named(staff: StaffCase, ada: int) -> None:
    assert response_of(staff, answered(staff, ada)).asked_side == "left"


def test_a_wrong_side_is_corrected_and_its_answers_are_set_aside(staff: StaffCase, nurse: Staff, ada: int) -> None:
    response_id, form = answered(staff, ada), timepoint_of(staff, ada, "year-1")
    [operation] = operations_of(staff, ada)
    page = f"/patients/{ada}/operations/{operation}/side"
    shown = nurse.get(page).text
    assert "It was the right shoulder" in shown and "is set aside." in shown
    assert mend(nurse, page).location == f"/patients/{ada}?done=mended"
    assert operations_of(staff, ada) == {operation: "right"}
    kept = response_of(staff, response_id)
    assert (kept.counted, kept.set_aside_at, kept.timepoint_id) == (False, staff.case.now, form.id)
    assert status(staff, form.id) == "open"  # the right question is asked now
    assert timepoint_of(staff, ada, "year-1").form_id != form.form_id
    assert mends(staff) == [("set_aside", "wrong_side", None, None)]
    assert "Set aside" in nurse.get(f"/responses/{response_id}").text
    told = nurse.get(f"/patients/{ada}").text, nurse.get("/patients").text
    assert '<h2 class="right">' in told[0] and '<b class="right">' in told[1]
    assert '<h2 class="left">' not in told[0] and '<b class="left">' not in told[1]  # nothing stands there any more
    again = answered(staff, ada)
    assert response_of(staff, again).counted and response_of(staff, again).asked_side == "right"


@pytest.mark.parametrize("was_answered", [True, False])
def test_about_the_corrected_side_nobody_was_asked_by_what_asked_about_the_other(
    staff: StaffCase, ada: int, was_answered: bool
) -> None:
    case, form = staff.case, timepoint_of(staff, ada, "year-1").id
    case.phone(ada).fetch()
    with case.store.writing() as session:
        kept = {"step": "invitation", "channel": "email", "made_at": case.now, "lease_no": 1, "tries": 1}
        session.add(Message(timepoint_id=form, outcome="sent", done_at=case.now, **kept))
        note_asked(session, [session.get_one(Timepoint, form)])
        if not was_answered:
            mark_ladder_exhausted(session, session.get_one(Timepoint, form), on=case.today, now=case.now)
    if was_answered:
        answered(staff, ada)
    case.now += timedelta(days=400)
    nurse, page = staff.sign_in("nurse"), f"/patients/{ada}/operations/{next(iter(operations_of(staff, ada)))}/side"
    assert status(staff, form) == ("answered" if was_answered else "missed")
    assert mend(nurse, page).status_code == 302
    assert (status(staff, form), timepoint_of(staff, ada, "year-1").asked_on) == ("never_asked", None)
    told = nurse.get(f"/patients/{ada}").text
    assert "it was asked about the other shoulder" in told and "asked about the other shoulder, before" in told
    assert "no message, letter or call" not in told and "nobody could be reached" not in told
    assert ("answers set aside" in told) == was_answered and "sent again" not in told
    case.now += timedelta(minutes=1)
    assert ("Answers that count again" in nurse.get(page).text) == was_answered
    assert mend(nurse, page).status_code == 302, "it was the left shoulder after all"
    assert status(staff, form) == ("answered" if was_answered else "missed")


def test_an_answer_about_the_other_shoulder_shows_that_the_person_lives_and_nothing_of_the_implant(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    case, response_id = staff.case, answered(staff, ada)
    assert mend(nurse, f"/patients/{ada}/operations/{min(operations_of(staff, ada))}/side").status_code == 302
    with case.store.reading() as session:
        known = last_known_of(session, session.get_one(Patient, ada), case.today)
        assert {known.contact, known.alive} == {Known(case.today, Source.ANSWER)}
        assert known.implant["right"].source == Source.OPERATION
    assert mend(nurse, f"/responses/{response_id}/place", what="take_back").status_code == 302
    case.now += timedelta(minutes=1)
    assert mend(nurse, f"/responses/{response_id}/place", reason="not_usable", what="mend").status_code == 302
    with case.store.reading() as session:
        known = last_known_of(session, session.get_one(Patient, ada), case.today)
        assert known.contact is not None and known.contact.source != Source.ANSWER


def test_a_side_that_goes_back_brings_back_what_its_correction_set_aside(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    case, page = staff.case, f"/patients/{ada}/operations/{min(operations_of(staff, ada))}/side"
    response_id, form = answered(staff, ada), timepoint_of(staff, ada, "year-1").id
    with case.store.writing() as session:
        said = {"kind": "said_wrong_side", "patient_id": ada, "true_side": "right", "raised_at": case.now}
        session.add(Flag(**said))
    assert mend(nurse, page).status_code == 302
    case.now += timedelta(minutes=1)
    about_right = answered(staff, ada)
    assert mend(nurse, page).status_code == 302
    first, second = response_of(staff, response_id), response_of(staff, about_right)
    assert (first.counted, first.set_aside_at, second.counted) == (True, None, False)
    assert second.set_aside_at == case.now and status(staff, form) in ("answered", "late")
    with case.store.reading() as session:
        [note] = session.scalars(select(Flag.settled_note)).all()
        assert note == "The side was corrected to right.\nThe side was corrected once more, to left."
    case.now += timedelta(minutes=1)
    assert mend(nurse, page).status_code == 302, "and once more to the right"
    assert response_of(staff, about_right).counted and not response_of(staff, response_id).counted


def test_answers_stay_with_the_corrected_side_when_the_patient_confirms_it(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    response_id, form = answered(staff, ada), timepoint_of(staff, ada, "year-1").id
    [operation] = operations_of(staff, ada)
    page = f"/patients/{ada}/operations/{operation}/side"
    ticked = {f"answer-{response_id}": "yes"}
    unticked = mend(nurse, page, **confirmed(staff))
    assert unticked.status_code == 422 and "Tick the answers that this confirms" in unticked.text
    nobody = mend(nurse, page, **ticked)
    assert nobody.status_code == 422 and "Without who, when and how" in nobody.text
    assert mend(nurse, page, **ticked, **confirmed(staff)).status_code == 302
    assert response_of(staff, response_id).counted and status(staff, form) in ("answered", "late")
    assert mends(staff) == [("kept", "wrong_side", "patient", "Ada Arden")]


def test_answers_stay_where_the_screen_named_the_true_side(staff: StaffCase, nurse: Staff, ada: int) -> None:
    response_id, form = answered(staff, ada), timepoint_of(staff, ada, "year-1").id
    with staff.case.store.writing() as session:
        flag = Flag(
            kind="said_wrong_side", patient_id=ada, timepoint_id=form, true_side="right", raised_at=staff.case.now
        )
        session.add(flag)
    [operation] = operations_of(staff, ada)
    assert mend(nurse, f"/patients/{ada}/operations/{operation}/side").status_code == 302
    assert response_of(staff, response_id).counted
    assert mends(staff) == [("kept", "wrong_side", "screen", None)]
    with staff.case.store.reading() as session:
        assert session.scalars(select(Flag.settled_at)).all() == [staff.case.now]


def test_a_side_that_has_its_first_operation_is_refused(staff: StaffCase, nurse: Staff) -> None:
    both = [ShoulderEntry(side=side, surgery_on=years_ago(staff.case, 1)) for side in ("left", "right")]
    ada = staff.case.enrol(*both)
    first = min(operations_of(staff, ada))
    refused = mend(nurse, f"/patients/{ada}/operations/{first}/side")
    assert refused.status_code == 422 and "has its first operation already" in refused.text


def test_what_followed_on_the_wrong_side_moves_along(staff: StaffCase, nurse: Staff, ada: int) -> None:
    revision = {"side": "left", "kind": "revision", "surgery_on": (staff.case.today - timedelta(days=30)).isoformat()}
    assert nurse.post(f"/patients/{ada}/operations/new", revision).status_code == 302
    index = min(operations_of(staff, ada))
    assert mend(nurse, f"/patients/{ada}/operations/{index}/side").status_code == 302
    assert set(operations_of(staff, ada).values()) == {"right"}


def test_what_was_done_before_the_first_operation_stays_though_it_was_entered_after_it(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    earlier = {"side": "left", "kind": "earlier", "done": "yes", "surgery_on": "1998", "procedure": "stabilisation"}
    assert nurse.post(f"/patients/{ada}/operations/new", earlier).status_code == 302
    index, late = operations_of(staff, ada)
    assert mend(nurse, f"/patients/{ada}/operations/{index}/side").status_code == 302
    assert operations_of(staff, ada) == {index: "right", late: "left"}


def noted(staff: StaffCase, patient_id: int, index: int) -> dict[str, int]:
    """An event after the operation and one before it, a visit, and what a letter says of the left shoulder; ids by word."""
    case, event = staff.case, {"kind": "infection", "happened_precision": "day", "certainty": "confirmed"}
    with case.store.writing() as session:
        shoulder = {"shoulder_id": session.get_one(Operation, index).shoulder_id, "made_at": case.now}
        rows: dict[str, Any] = {
            "after": ClinicEvent(**shoulder, **event, happened_on=case.today, source_kind="examination"),
            "before": ClinicEvent(**shoulder, **event, happened_on=date(2001, 2, 3), source_kind="gp"),
            "visit": ClinicFinding(**shoulder, examined_on=case.today, examiner="Nora Nurse"),
            "source": KnownStatus(
                patient_id=patient_id, known_on=case.today, source="register", side="left", implant="in_place", made_at=case.now
            ),
        }  # fmt: skip
        session.add_all(rows.values())
        session.flush()
        return {word: row.id for word, row in rows.items()}


def test_what_else_is_said_of_the_shoulder_moves_where_somebody_ticks_it(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    [index] = operations_of(staff, ada)
    ids = noted(staff, ada, index)
    page = f"/patients/{ada}/operations/{index}/side"
    names = {
        "after": f"clinic_event-{ids['after']}", "before": f"clinic_event-{ids['before']}",
        "visit": f"clinic_finding-{ids['visit']}", "source": f"known_status-{ids['source']}",
    }  # fmt: skip
    shown = nurse.get(page).text
    assert [word for word, name in names.items() if f'id="{name}"' in shown] == list(names)
    assert [word for word, name in names.items() if f'name="{name}" value="yes" checked' in shown] == ["after"]
    assert mend(nurse, page, **{names["before"]: "yes", names["source"]: "yes"}).status_code == 302
    with staff.case.store.reading() as session:
        sides = {row.id: row.side for row in session.execute(select(Shoulder.id, Shoulder.side))}
        events = {row.id: sides[row.shoulder_id] for row in session.scalars(select(ClinicEvent))}
        assert events == {ids["after"]: "right", ids["before"]: "right"}
        assert sides[session.get_one(ClinicFinding, ids["visit"]).shoulder_id] == "left"
        assert session.get_one(KnownStatus, ids["source"]).side == "right"


def revise(staff: StaffCase, nurse: Staff, patient_id: int, days_ago: int) -> None:
    day = (staff.case.today - timedelta(days=days_ago)).isoformat()
    revision = {"side": "left", "kind": "revision", "reason": "pain", "surgery_on": day}
    assert nurse.post(f"/patients/{patient_id}/operations/new", revision).status_code == 302


def test_an_event_and_a_form_that_another_answer_stood_for_move_with_their_operation(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    case, year = staff.case, timepoint_of(staff, ada, "year-1").id
    revise(staff, nurse, ada, 340)
    index = min(operations_of(staff, ada))
    staff.answer(year, {}, on=case.today)
    with case.store.writing() as session:
        rows = session.scalars(select(Timepoint).where(Timepoint.answer_from_id == year)).all()
        named_left = {row.id: row.form_id for row in rows}
        event = ClinicEvent(
            shoulder_id=session.get_one(Operation, index).shoulder_id, kind="infection", happened_on=case.today,
            happened_precision="day", certainty="confirmed", source_kind="examination", made_at=case.now,
        )  # fmt: skip
        session.add(event)
    assert named_left
    assert mend(nurse, f"/patients/{ada}/operations/{index}/side").status_code == 302
    with case.store.reading() as session:
        assert {each: session.get_one(Timepoint, each).form_id for each in named_left}.items().isdisjoint(
            named_left.items()
        )
        sides = "select side from shoulder join clinic_event on shoulder.id = clinic_event.shoulder_id"
        assert session.scalars(text(sides)).all() == ["right"]
    assert reasons(staff).count(("side", "left", "right", WHY)) == 3  # of two operations and the event


def test_operations_between_which_a_component_went_in_and_out_are_not_torn_apart(
    staff: StaffCase, nurse: Staff
) -> None:
    both = [ShoulderEntry(side=side, surgery_on=years_ago(staff.case, 1)) for side in ("left", "right")]
    ada = staff.case.enrol(*both)
    index = next(each for each, side in operations_of(staff, ada).items() if side == "left")
    revise(staff, nurse, ada, 30)
    revised = max(operations_of(staff, ada))
    with staff.case.store.writing() as session:
        session.add(Component(put_in_id=index, taken_out_id=revised, role="head", made_at=staff.case.now))
    refused = mend(nurse, f"/patients/{ada}/operations/{revised}/side")
    assert refused.status_code == 422 and "only one of them would move" in refused.text
    assert operations_of(staff, ada)[revised] == "left"


def test_answers_of_another_person_are_moved_and_sealed_under_the_right_key(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    case = staff.case
    bela = case.enrol(ShoulderEntry(side="right", surgery_on=years_ago(case, 1)), first_name="Bela")
    response_id, before = answered(staff, ada), timepoint_of(staff, ada, "year-1")
    assert response_of(staff, response_id).operated_again is False
    page, place = f"/responses/{response_id}/place", timepoint_of(staff, bela, "year-1").id
    assert f'value="{place}"' not in nurse.get(page).text
    looked = nurse.post(page, {"look": "yes", "other": "Y-0002"})
    assert f'value="{place}"' in nurse.get(looked.location).text
    unsure = mend(nurse, looked.location, page, reason="wrong_person", to=str(place), what="mend")
    assert unsure.status_code == 422 and "Tick that you are sure" in unsure.text
    sure = {"reason": "wrong_person", "to": str(place), "sure": "yes", "what": "mend"}
    no_side = mend(nurse, looked.location, page, **{**sure, "reason": "wrong_side"})
    assert no_side.status_code == 422 and "That form is another patient’s" in no_side.text
    assert mend(nurse, looked.location, page, **sure).status_code == 302
    with case.store.reading() as session:
        moved = session.scalars(select(Response).where(Response.moved_from_id == response_id)).one()
        original, right = session.get_one(Response, response_id), session.get_one(Patient, bela)
        assert (moved.patient_id, moved.timepoint_id, moved.counted, moved.envelope_id) == (bela, place, True, None)
        assert (original.counted, original.patient_id, moved.operated_again) == (False, ada, False)
        own = open_answers(original.answers, case.runtime.keys.patient_cipher(session.get_one(Patient, ada).handle))
        assert open_answers(moved.answers, case.runtime.keys.patient_cipher(right.handle)) == own
    assert scores(staff, moved.id) == scores(staff, response_id) and len(scores(staff, moved.id)) > 2
    assert status(staff, place) in ("answered", "late") and status(staff, before.id) == "open"
    assert "Moved here from another form" in nurse.get(f"/responses/{moved.id}").text


def test_setting_aside_is_taken_back_and_what_was_moved_is_set_aside_in_turn(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    bela = staff.case.enrol(ShoulderEntry(side="right", surgery_on=years_ago(staff.case, 1)), first_name="Bela")
    response_id, place = answered(staff, ada), timepoint_of(staff, bela, "year-1").id
    page = f"/responses/{response_id}/place"
    sure = {"reason": "wrong_person", "to": str(place), "sure": "yes", "what": "mend", "other": "Y-0002"}
    assert mend(nurse, f"{page}?other=Y-0002", page, **sure).status_code == 302
    assert mend(nurse, page, what="take_back").status_code == 302
    assert response_of(staff, response_id).counted and response_of(staff, response_id).set_aside_at is None
    assert status(staff, place) == "open"
    with staff.case.store.reading() as session:
        assert session.scalars(select(Response.counted).where(Response.patient_id == bela)).all() == [False]


def test_answers_move_to_the_other_shoulder_only_on_a_ground(staff: StaffCase, nurse: Staff) -> None:
    both = [ShoulderEntry(side=side, surgery_on=years_ago(staff.case, 1)) for side in ("left", "right")]
    ada = staff.case.enrol(*both)
    with staff.case.store.reading() as session:
        forms = {side: session.scalars(_of_side(ada, side)).one() for side in ("left", "right")}
    response_id = staff.answer(forms["left"], {}, on=staff.case.today)
    page = f"/responses/{response_id}/place"
    to_right = {"reason": "wrong_side", "to": str(forms["right"]), "what": "mend"}
    shown = nurse.get(page).text
    offered = {int(each) for each in re.findall(r'<option value="(\d+)"', shown)}
    with staff.case.store.reading() as session:
        rows = [session.get_one(Timepoint, each) for each in offered]
        assert {row.follow_up.operation.shoulder.side for row in rows} == {"right"}
        assert forms["right"] in offered and all(row.opens_on <= staff.case.today for row in rows)
    for wrong, said in (("wrong_person", "this patient’s own"), ("not_usable", "Choose no form")):
        other_reason = mend(nurse, page, **{**to_right, **confirmed(staff), "reason": wrong})
        assert other_reason.status_code == 422 and said in other_reason.text
    refused = mend(nurse, page, **to_right)
    assert refused.status_code == 422 and "Without who, when and how" in refused.text
    assert mend(nurse, page, **to_right, **confirmed(staff)).status_code == 302
    assert status(staff, forms["right"]) in ("answered", "late") and status(staff, forms["left"]) == "open"
    assert ("moved", "wrong_side", "patient", "Ada Arden") in mends(staff)


def _of_side(patient_id: int, side: str) -> Select[int]:
    return (
        select(Timepoint.id)
        .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .join(Operation, Operation.id == FollowUp.operation_id)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .where(Timepoint.patient_id == patient_id, Timepoint.code == "year-1", Shoulder.side == side)
    )


def test_answers_with_the_preferred_shoulder_fit_the_same_form_of_the_other_one(staff: StaffCase) -> None:
    case = staff.case
    shoulders = (
        ShoulderEntry(side="left", surgery_on=years_ago(case, 5)),
        ShoulderEntry(side="right", surgery_on=years_ago(case, 2)),
    )
    patient_id = case.enrol(*shoulders)
    phone = case.phone(patient_id)
    phone.fetch()
    form = next(each for each in phone.sheet["forms"] if each["side"] == "right")
    assert form["parts"][-1]["instrument"] == "preference@1"
    phone.send(phone.seal(phone.payload(form, best, case.now)))
    assert case.process().recorded == 1
    left = timepoint_of(staff, patient_id, "year-5").id
    reader = Reader(case.runtime.keys, case.runtime.library)
    with case.store.reading() as session:
        response = session.scalars(select(Response)).one()
        places = places_for(session, response, session.get_one(Patient, patient_id), reader)
        assert ("left", left) in [(side, row.id) for side, row in places]
