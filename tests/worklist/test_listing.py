"""The order of the list, its pages and its counts."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.crypto.fields import PatientCipher
from server.models import Flag, Patient, SilenceDraw, Timepoint
from server.worklist.queries import KINDS, SAID_KINDS
from server.worklist.rows import WorkRow
from tests.storehouse import NOW, TODAY, add_account, add_operation, add_response
from tests.worklist.ward import DAY, Ward, baseline, flag, held, link_of, locked, patient, reason, waiting


def everything(ward: Ward) -> None:
    """One of each kind, entered in the opposite order."""
    with ward.store.writing() as session:
        waiting(session, "due", due_on=TODAY + DAY)
        waiting(session, "later", due_on=TODAY - DAY, last_try="promised", again_on=TODAY + DAY)
        waiting(
            session, "withheld", due_on=TODAY - DAY, withheld_on=TODAY - DAY, withheld_texts="sst@1/en/descriptive-1"
        )
        waiting(session, "overdue", due_on=TODAY - DAY)
        baseline(session, "baseline", planned_on=TODAY + DAY)
        add_operation(session, patient(session, "planned"), surgery_planned_on=TODAY - DAY)
        waiting(session, "non", ladder_exhausted_on=TODAY, closes_on=TODAY + DAY)
        told = waiting(session, "told", due_on=TODAY, done_at=NOW)
        # Oldest first.
        flag(session, told, "event_left_behind", "since@2/8", raised_at=NOW + timedelta(hours=3))
        flag(session, told, "consent_again", None, raised_at=NOW + timedelta(hours=2))
        flag(session, told, "lost_proposal", None, raised_at=NOW + timedelta(hours=1))
        flag(session, told, "contact_change", "since@1/6", raised_at=NOW)
        flag(session, told, "event_reported", "since@2/7", raised_at=NOW - timedelta(hours=1))
        flag(session, told, "operated_elsewhere", "since@1/1")
        teller = session.get_one(Patient, told.patient_id)
        locked(session, teller)
        held(session, "not_opened", link_of(session, teller))
        for kind in reversed(SAID_KINDS):
            flag(session, told, kind, None)
        flag(session, told, "safety_answer", "early@1/2")


def test_what_is_urgent_comes_first_and_what_merely_waits_last(ward: Ward) -> None:
    everything(ward)
    work = ward.work()
    assert [row.kind for row in work.rows] == [
        "safety_answer",
        "said_died",
        "asked_for_call",
        "asked_to_stop",
        "said_wrong_person",
        "said_wrong_side",
        "said_wrong_date",
        "held",
        "locked_link",
        "operated_elsewhere",
        "event_reported",
        "contact_change",
        "lost_proposal",
        "consent_again",
        "event_left_behind",
        "surgery_passed",
        "baseline_missing",
        "non_responder",
        "overdue",
        "withheld",
        "later",
        "due",
    ]
    assert work.counts == dict.fromkeys(KINDS, 1)
    assert work.total == 22


def test_nothing_of_a_record_that_was_entered_in_error_waits_for_a_person(ward: Ward) -> None:
    with ward.store.writing() as session:
        told = waiting(session, "told", due_on=TODAY, done_at=NOW)
        for kind in ("safety_answer", "said_died", "event_reported"):
            flag(session, told, kind, None)
        teller = session.get_one(Patient, told.patient_id)
        locked(session, teller)
        held(session, "not_opened", link_of(session, teller))
        held(session, "not_opened", number=2)
    of_nobody_known = ("held", None)
    assert len(ward.work().rows) == 6 and (ward.work().rows[3].kind, ward.work().rows[3].patient_id) == of_nobody_known
    for taken_back_at, waits in ((NOW, 1), (None, 6)):
        with ward.store.writing() as session:
            session.scalars(select(Patient)).one().taken_back_at = taken_back_at
        assert (len(ward.work().rows), ward.work().total) == (waits, waits)
        assert of_nobody_known in [(row.kind, row.patient_id) for row in ward.work().rows]


def test_pages_put_together_are_the_whole_list(ward: Ward) -> None:
    everything(ward)
    whole = ward.work().rows

    def put_together(size: int) -> list[WorkRow]:
        return [row for start in range(0, 22, size) for row in ward.work(limit=size, offset=start).rows]

    assert [put_together(size) for size in (1, 2, 4)] == [whole] * 3
    assert len(whole) > 4


def test_only_the_kinds_asked_for_are_listed_and_all_are_counted(ward: Ward) -> None:
    everything(ward)
    work = ward.work(["overdue", "held"])
    assert [row.kind for row in work.rows] == ["held", "overdue"]
    assert (work.total, work.counts["due"]) == (2, 1)
    assert [row.kind for row in ward.work(["overdue", "held"], limit=1, offset=1).rows] == ["overdue"]


def test_a_kind_that_does_not_exist_is_refused(ward: Ward) -> None:
    with pytest.raises(ValueError, match="no such kind of work: parcels"):
        ward.work(["parcels"])


def test_open_timepoints_come_by_days_left(ward: Ward) -> None:
    with ward.store.writing() as session:
        waiting(session, "last", due_on=TODAY - DAY, closes_on=TODAY + 9 * DAY)
        waiting(session, "second", ladder_exhausted_on=TODAY, closes_on=TODAY + 2 * DAY)
        waiting(session, "first", due_on=TODAY - DAY, closes_on=TODAY)
        baseline(session, "third", planned_on=TODAY + 3 * DAY)
        baseline(session, "unknown", planned_on=None, due_on=TODAY - DAY)
    rows = ward.work().rows
    assert [row.study_number for row in rows] == ["first", "second", "third", "last", "unknown"]
    assert [row.days_left for row in rows] == [0, 2, 3, 9, None]


def test_who_was_drawn_by_lot_comes_before_others_with_fewer_days_left_and_the_row_says_so(ward: Ward) -> None:
    with ward.store.writing() as session:
        waiting(session, "sooner", ladder_exhausted_on=TODAY - DAY, closes_on=TODAY + DAY)
        cast = SilenceDraw(drawn_on=TODAY, drawn_at=NOW, seed="s", probability=0.25, people=4, people_drawn=1)
        session.add(cast)
        session.flush()
        lot: dict[str, Any] = {"lot_cast_on": TODAY, "draw_id": cast.id, "ladder_exhausted_on": TODAY - DAY}
        waiting(session, "not drawn", **lot, closes_on=TODAY + 2 * DAY)
        drawn = {**lot, "drawn_on": TODAY, "drawing_probability": 0.25}
        waiting(session, "drawn", **drawn, closes_on=TODAY + 9 * DAY)
        waiting(session, "drawn and called", **drawn, last_try="no_answer", again_on=TODAY + DAY)
    rows = ward.work().rows
    assert [row.study_number for row in rows] == ["drawn", "sooner", "not drawn", "drawn and called"]
    assert ["Drawn by lot" in reason(row) for row in rows] == [True, False, False, True]


def test_flags_of_one_response_are_one_row_that_settles_them_all(ward: Ward) -> None:
    with ward.store.writing() as session:
        told = waiting(session, done_at=NOW)
        from_response = flag(session, told, "contact_change", "since@1/6")
        response_id = _a_response(session, told)
        first = flag(session, told, "contact_change", "since@1/6", response_id=response_id)
        second = flag(session, told, "contact_change", "since@1/6a", response_id=response_id, detail="600 000 000")
        ids = {from_response.id, first.id, second.id}
    rows = ward.work().rows
    assert sorted(len(row.flag_ids) for row in rows) == [1, 2]
    assert {each for row in rows for each in row.flag_ids} == ids
    assert ward.work().counts["contact_change"] == 2


def test_a_settled_flag_is_gone(ward: Ward) -> None:
    with ward.store.writing() as session:
        flag(session, waiting(session, done_at=NOW), "safety_answer", "early@1/2")
    with ward.store.writing() as session:
        session.scalars(select(Flag)).one().settled_at = NOW
    assert ward.work().total == 0


@pytest.mark.parametrize("kind", ["said_died", "asked_to_stop"])
def test_who_is_said_to_have_died_or_wants_no_more_is_one_row_and_nobody_is_sent_to_ask_for_a_form(
    ward: Ward, kind: str
) -> None:
    with ward.store.writing() as session:
        told = waiting(session, "told", due_on=TODAY - DAY)
        add_operation(session, session.get_one(Patient, told.patient_id), "right", surgery_planned_on=TODAY - DAY)
        waiting(session, "other", due_on=TODAY - DAY)
        flag(session, told, kind, None)
    assert {kind: count for kind, count in ward.work().counts.items() if count} == {kind: 1, "overdue": 1}
    with ward.store.writing() as session:
        session.scalars(select(Flag)).one().settled_at = NOW
    assert {kind: count for kind, count in ward.work().counts.items() if count} == {"overdue": 2, "surgery_passed": 1}


def test_the_list_has_lost_the_name_once_the_form_is_answered(ward: Ward) -> None:
    with ward.store.writing() as session:
        waiting(session)
    assert [row.study_number for row in ward.work().rows] == ["Y-0001"]
    with ward.store.writing() as session:
        _a_response(session, session.scalars(select(Timepoint)).one())
    assert ward.work().rows == []


def _a_response(session: Session, timepoint: Timepoint) -> int:
    nurse = add_account(session)
    return add_response(session, timepoint, [], cipher=PatientCipher(bytes(32)), entered_by=nurse).id
