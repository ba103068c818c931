"""A form that the clinic could not ask is marked while its window is open, and is never taken for a patient's silence."""

import csv
from datetime import date, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select, update

from server.clinic.entries import ShoulderEntry
from server.exports import export_set
from server.jobs.clock import one_pass, tick
from server.models import Message, Timepoint, Transition
from server.queries.clock import the_clinic
from server.queries.facts import standing_of
from server.reminders import withheld
from server.reminders.tick import run_tick
from server.worklist import list_work
from tests.clinic_case import Case
from tests.texts.going_live import decide, go_live
from tests.texts.test_sending import INSTRUMENTS
from tests.texts.test_withdrawal import withdraw

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

STOPPED = ",".join(f"{spec}/en/descriptive-1" for spec in INSTRUMENTS)


def year_1(case: Case) -> Timepoint:
    with case.store.reading() as session:
        return session.scalars(select(Timepoint).where(Timepoint.code == "year-1")).one()


def enrol(case: Case) -> int:
    """Year 1 opens today and closes in four months; it is due in two."""
    return case.enrol(ShoulderEntry(side="left", surgery_on=case.today - timedelta(days=305)))


def days_pass(case: Case, until: date) -> None:
    while case.today < until:
        case.now += timedelta(days=min(7, (until - case.today).days))
        one_pass(case.runtime)


def mark(case: Case) -> tuple[date | None, str | None]:
    row = year_1(case)
    return row.withheld_on, row.withheld_texts


def over(case: Case) -> date:
    closes_on = year_1(case).closes_on
    assert closes_on is not None
    return closes_on + timedelta(days=1)


def exported(case: Case, folder: Path) -> dict[str, str]:
    export_set(case.store, case.runtime.keys.patient_cipher, case.runtime.library, folder, now=case.now)
    with (folder / "long.csv").open(encoding="utf-8", newline="") as file:
        return next(row for row in csv.DictReader(file) if row["timepoint"] == "year-1")


def test_a_pass_marks_since_when_and_for_which_texts(case: Case) -> None:
    go_live(case)
    enrol(case)
    first = case.today
    assert tick(case.runtime).withheld == 1
    assert mark(case) == (first, STOPPED)
    case.now += timedelta(days=3)
    assert tick(case.runtime).withheld == 0, "once marked, nothing is written again"
    assert mark(case) == (first, STOPPED)


def test_the_mark_goes_once_the_form_can_be_asked(case: Case) -> None:
    go_live(case)
    enrol(case)
    tick(case.runtime)
    decide(case)
    assert tick(case.runtime).withheld == 1
    assert mark(case) == (None, None)


def test_a_demo_marks_nothing(case: Case) -> None:
    enrol(case)
    assert tick(case.runtime).withheld == 0 and mark(case) == (None, None)


def test_a_window_that_closed_over_a_form_that_could_not_be_asked_was_never_asked_for_that_reason(
    case: Case, tmp_path: Path
) -> None:
    go_live(case)
    enrol(case)
    since = case.today
    tick(case.runtime)
    days_pass(case, year_1(case).due_on + timedelta(days=7))
    row = exported(case, tmp_path / "open")
    assert (row["status"], row["missing"], row["value"]) == ("overdue", "text_withheld", "")
    days_pass(case, over(case))
    standing = standing_of(year_1(case), case.today)
    assert (standing.status, standing.reason, standing.since) == ("never_asked", "text_withheld", case.today)
    with case.store.reading() as session:
        last = session.scalars(select(Transition).order_by(Transition.id.desc()).limit(1)).one()
        assert (last.status_after, last.reason) == ("never_asked", "closed_unasked")
        assert session.scalars(select(Message.id)).all() == []
    row = exported(case, tmp_path / "closed")
    assert (row["status"], row["missing"], row["value"]) == ("never_asked", "text_withheld", "")
    assert (row["withheld_on"], row["withheld_texts"], row["messages_sent"]) == (since.isoformat(), STOPPED, "0")


def test_a_decision_after_the_window_closed_does_not_turn_it_into_silence(case: Case) -> None:
    go_live(case)
    enrol(case)
    tick(case.runtime)
    days_pass(case, over(case))
    decide(case)
    days_pass(case, case.today + timedelta(days=7))
    standing = standing_of(year_1(case), case.today)
    assert (standing.status, standing.reason) == ("never_asked", "text_withheld")
    assert year_1(case).done_at is not None


def test_a_form_that_was_asked_before_it_was_held_back_stays_the_patient_s_to_miss(case: Case, tmp_path: Path) -> None:
    go_live(case)
    decision_id = decide(case)
    enrol(case)
    days_pass(case, year_1(case).due_on)
    with case.store.reading() as session:
        assert "sent" in session.scalars(select(Message.outcome)).all()
    withdraw(case, decision_id)
    tick(case.runtime)
    assert mark(case) == (case.today, STOPPED)
    days_pass(case, over(case))
    row = exported(case, tmp_path / "set")
    assert (row["status"], row["missing"]) == ("missed", "missed")


def test_a_message_that_was_on_its_way_counts_as_asked(case: Case) -> None:
    go_live(case)
    enrol(case)
    tick(case.runtime)
    with case.store.writing() as session:
        sent = {"step": "invitation", "channel": "email", "made_at": case.now, "done_at": case.now, "outcome": "sent"}
        session.add(Message(timepoint_id=year_1(case).id, **sent))
    assert tick(case.runtime).asked == 1
    days_pass(case, over(case))
    assert standing_of(year_1(case), case.today).status == "missed"


def test_staff_see_it_as_held_back_and_not_as_overdue(case: Case) -> None:
    go_live(case)
    enrol(case)
    tick(case.runtime)
    days_pass(case, year_1(case).due_on + timedelta(days=7))
    with case.store.reading() as session:
        work = list_work(session, today=case.today, now=case.now, cipher_of=case.runtime.keys.patient_cipher)
    assert [row.kind for row in work.rows] == ["withheld"] and work.counts["overdue"] == 0


def test_a_pass_that_is_killed_between_two_writes_goes_on_where_it_was(
    case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    go_live(case)
    for name in ("Ben", "Cleo", "Dora"):
        case.enrol(ShoulderEntry(side="left", surgery_on=case.today - timedelta(days=305)), first_name=name)
    monkeypatch.setattr(withheld, "AT_ONCE", 1)
    real, written = withheld._mark, []

    def dies_at_the_second(*given: object) -> dict[str, object]:
        written.append(1)
        if len(written) == 2:
            raise KeyboardInterrupt
        return real(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(withheld, "_mark", dies_at_the_second)
    with pytest.raises(KeyboardInterrupt):
        tick(case.runtime)
    with case.store.reading() as session:
        assert len(session.scalars(select(Timepoint.id).where(Timepoint.withheld_on.is_not(None))).all()) == 1
    assert tick(case.runtime).withheld == 2
    assert tick(case.runtime).withheld == 0


def test_a_plan_that_the_program_has_no_more_is_left_alone(case: Case) -> None:
    go_live(case)
    enrol(case)
    with case.store.writing() as session:
        session.execute(update(Timepoint).where(Timepoint.code == "year-1").values(plan_version="999"))
    from server.jobs.clock import LINKS

    report = run_tick(case.store, case.runtime.library, LINKS, now=case.now, extend=False)
    assert report.withheld == 0 and mark(case) == (None, None)
    with case.store.reading() as session:
        assert the_clinic(session).mode == "live"
