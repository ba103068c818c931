"""One pass of the clock: what it writes down, that it may be repeated, and that one bad row holds up nobody."""

from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import select, text, update

from server.clinic.entries import ShoulderEntry
from server.models import FollowUp, SealingKey, Timepoint
from server.queries.clock import the_clinic
from tests.reminders.cast import CLOSES, INVITES, OPENS, REMINDS, SURGERY, House, counts, find, left, madrid, right


def test_a_timepoint_nobody_answers_opens_turns_non_responder_and_is_missed(house: House) -> None:
    house.case.enrol(right())
    house.days(OPENS - timedelta(days=2), CLOSES + timedelta(days=2))
    assert house.history() == [
        ("open", OPENS),
        ("overdue", date(2026, 7, 14)),
        ("non_responder", REMINDS[-1]),
        ("missed", CLOSES + timedelta(days=1)),
    ]


def test_days_begin_and_end_at_the_clinics_midnight(house: House) -> None:
    house.case.enrol(right())
    house.case.now = datetime(2026, 6, 28, 21, 59, tzinfo=UTC)  # 23:59 in Madrid
    house.tick()
    assert house.history() == []
    house.case.now = datetime(2026, 6, 28, 22, 0, tzinfo=UTC)
    house.tick()
    assert house.history() == [("open", OPENS)]
    house.case.now = madrid(CLOSES, 23, 59)
    house.tick()
    assert house.history()[-1][0] == "overdue"
    house.case.now = madrid(CLOSES + timedelta(days=1), 0, 0)
    house.tick()
    assert house.history()[-1] == ("never_asked", CLOSES + timedelta(days=1)), "nothing was ever sent"


def test_the_same_instant_is_another_day_for_a_clinic_elsewhere(house: House) -> None:
    house.case.enrol(right())
    with house.case.store.writing() as session:
        the_clinic(session).time_zone = "Pacific/Auckland"
    house.case.now = datetime(2026, 6, 28, 12, 0, tzinfo=UTC)
    assert house.tick().turned == 1


def test_a_ladder_whose_last_message_waits_makes_no_non_responder_yet(house: House) -> None:
    house.case.enrol(right())
    house.days(OPENS, REMINDS[-1] - timedelta(days=1))
    house.tick(REMINDS[-1])
    assert house.history()[-1][0] == "overdue"
    house.send()
    assert house.history()[-1] == ("non_responder", REMINDS[-1])


def test_an_answer_after_the_ladder_ended_still_counts(house: House) -> None:
    house.case.enrol(right())
    house.days(OPENS, REMINDS[-1])
    house.answer()
    house.tick(CLOSES + timedelta(days=1))
    assert house.history()[-1] == ("answered", REMINDS[-1])


@pytest.mark.parametrize("day", [OPENS, INVITES, REMINDS[-1], CLOSES + timedelta(days=1), date(2027, 6, 1)])
def test_a_second_pass_changes_nothing(house: House, day: date) -> None:
    house.case.enrol(left(), right())
    house.days(OPENS, min(day, REMINDS[-1]))
    house.one_day(day)
    before = house.everything()
    assert counts(house.tick()) == {}
    assert house.send() == 0
    assert house.everything() == before


def test_one_late_pass_ends_where_daily_passes_end(house: House) -> None:
    house.case.enrol(right())
    house.days(OPENS, CLOSES + timedelta(days=1))
    with house.case.store.reading() as session:
        daily = facts(find(session, "week-6"))
        rows = session.scalars(select(Timepoint).order_by(Timepoint.due_on)).all()
        daily_rows = [(row.code, row.opens_on, row.closes_on) for row in rows]
    late = house.case.enrol(right(), first_name="Ben", last_name="Brook", birth_on=date(1960, 5, 5))
    house.one_day(CLOSES + timedelta(days=1))
    with house.case.store.reading() as session:
        rows = session.scalars(select(Timepoint).where(Timepoint.patient_id == late).order_by(Timepoint.due_on)).all()
        assert [(row.code, row.opens_on, row.closes_on) for row in rows] == daily_rows[-len(rows) :]
    assert daily == ("missed", None, None)


def facts(timepoint: Timepoint) -> tuple[str, object, object]:
    status = "missed" if timepoint.done_at and not timepoint.answered_at else "other"
    return status, timepoint.answered_on, timepoint.not_expected_on


def test_a_pass_years_later_writes_down_every_window_that_closed(house: House) -> None:
    house.case.enrol(right())
    house.one_day(date(2030, 6, 15))
    for code in ("week-6", "year-1", "year-2", "year-3"):
        assert [status for status, _ in house.history(code)] == ["never_asked"]
    assert [status for status, _ in house.history("year-4")] == [
        "open"
    ]  # its row is made today, and so it invites today
    assert len(house.letters()) == 1
    assert house.outcomes("right", "week-6") == {}


def test_rows_reach_four_hundred_days_ahead(house: House) -> None:
    house.case.enrol(right())
    assert house.tick(date(2027, 6, 15)).extended == 1
    with house.case.store.reading() as session:
        codes = set(session.scalars(select(Timepoint.code)))
    assert codes == {"baseline", "week-6", "year-1", "year-2"}  # year 2 opens 640 days after surgery, 261 days from now


def test_an_answer_long_before_surgery_is_asked_for_once_more(house: House) -> None:
    house.case.enrol(ShoulderEntry(side="right", surgery_planned_on=house.case.today + timedelta(days=300)))
    house.answer(code="baseline")
    assert house.tick(house.case.today + timedelta(days=1)).extended == 1
    with house.case.store.reading() as session:
        rows = session.scalars(select(Timepoint).order_by(Timepoint.attempt)).all()
        assert [(row.code, row.attempt, row.answered_on is None) for row in rows] == [
            ("baseline", 1, False),
            ("baseline", 2, True),
        ]


def test_the_due_sheet_is_published_when_a_window_opens_and_when_it_closes(house: House) -> None:
    patient_id = house.case.enrol(right())
    assert sheet_forms(house, patient_id) == []
    assert house.tick(OPENS).published == 1
    assert sheet_forms(house, patient_id) == ["week-6"]
    assert house.tick(OPENS + timedelta(days=20)).published == 0
    assert house.tick(CLOSES + timedelta(days=1)).published == 1
    assert sheet_forms(house, patient_id) == []


def sheet_forms(house: House, patient_id: int) -> list[str]:
    phone = house.case.phone(patient_id)
    phone.fetch()
    return [form["timepoint"] for form in phone.sheet["forms"]]


def test_a_row_that_cannot_be_worked_on_is_put_off_a_day_and_stops_nobody(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    house.case.enrol(right())
    house.case.enrol(right(), first_name="Ben", last_name="Brook", birth_on=date(1960, 5, 5), email="ben@x.example")
    with house.case.store.writing() as session:
        bad = find(session, "week-6").id
        session.execute(update(Timepoint).where(Timepoint.id == bad).values(due_on=OPENS - timedelta(days=1)))
    report = house.tick(OPENS)
    assert (report.turned, report.failed) == (1, 1)
    with house.case.store.reading() as session:
        assert session.get_one(Timepoint, bad).look_again_on == OPENS + timedelta(days=1)
    assert f"timepoint {bad} is put off by a day: ValueError" in caplog.text
    assert house.tick(OPENS + timedelta(days=1)).failed == 1


def test_a_sheet_that_cannot_be_published_leaves_the_change_for_tomorrow(house: House) -> None:
    patient_id = house.case.enrol(right())
    with house.case.store.writing() as session:
        session.scalars(select(SealingKey)).one().retired_at = house.case.now
    assert house.tick(OPENS).failed == 1
    assert house.history() == []
    with house.case.store.writing() as session:
        session.scalars(select(SealingKey)).one().retired_at = None
    house.tick(OPENS + timedelta(days=1))
    assert house.history() == [("open", OPENS + timedelta(days=1))]
    assert sheet_forms(house, patient_id) == ["week-6"]


def test_a_plan_that_is_not_there_is_reported_and_stops_nobody(house: House, caplog: pytest.LogCaptureFixture) -> None:
    house.case.enrol(right())
    house.case.enrol(right(), first_name="Ben", last_name="Brook", birth_on=date(1960, 5, 5), email="ben@x.example")
    with house.case.store.writing() as session:
        follow_up = session.scalars(select(FollowUp).order_by(FollowUp.id)).first()
        assert follow_up is not None
        follow_up.plan_id, gone = "gone", follow_up.id
    house.one_day(INVITES)
    assert f"follow-up {gone} was not extended: PlanUnusable" in caplog.text
    assert [status for status, _day in house.history()] == ["open", "open"]
    assert [letter.to for letter in house.letters()] == ["ben@x.example"]


def test_a_failure_is_logged_without_what_it_was_about(house: House, caplog: pytest.LogCaptureFixture) -> None:
    patient_id = house.case.enrol(right())
    with house.case.store.writing() as session:
        spoilt = text("UPDATE patient SET first_name = :name WHERE id = :id")
        session.execute(spoilt, {"name": b"Ada Arden " * 5, "id": patient_id})
    assert house.tick(OPENS).failed >= 1
    assert "Arden" not in caplog.text
    assert "FieldProblem" in caplog.text
    assert SURGERY.isoformat() not in caplog.text
