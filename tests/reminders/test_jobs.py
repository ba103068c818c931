"""The clock of a running server: what it runs, that it stops, and what it says when something fails."""

import threading
from datetime import UTC, date, datetime, timedelta

import pytest
from apscheduler.events import EVENT_JOB_EXECUTED, JobExecutionEvent
from sqlalchemy import select

from server.jobs import clock as jobs
from server.links.make import end_links
from server.models import Link, LinkBirthDate, Patient, StaffSession
from tests.reminders.cast import INVITES, House, madrid, right
from tests.storehouse import add_account


def test_a_started_clock_runs_every_job_at_once_and_stops_cleanly(house: House) -> None:
    house.case.enrol(right())
    house.case.now = madrid(INVITES)
    scheduler, ran, all_ran = jobs.make_scheduler(house.case.runtime), set[str](), threading.Event()

    def note(ended: JobExecutionEvent) -> None:
        ran.add(ended.job_id)
        if ran == {"tick", "sender", "safety net", "copies", "housekeeping"}:
            all_ran.set()

    scheduler.add_listener(note, EVENT_JOB_EXECUTED)
    scheduler.start()
    assert all_ran.wait(30)
    scheduler.shutdown(wait=True)
    assert not [thread for thread in threading.enumerate() if "APScheduler" in thread.name]
    assert house.outcomes() in (
        {"invitation": "sent"},
        {"invitation": None},
    )  # the sender may have been quicker than the tick


def test_a_missed_job_runs_once_however_late(house: House) -> None:
    scheduler = jobs.make_scheduler(house.case.runtime)
    scheduler.start(paused=True)
    found = scheduler.get_jobs()
    scheduler.shutdown()
    assert found
    assert {(job.coalesce, job.max_instances, job.misfire_grace_time) for job in found} == {(True, 1, None)}


def test_one_pass_takes_in_turns_the_calendar_and_sends(house: House) -> None:
    house.case.enrol(right())
    house.case.now = madrid(INVITES)
    assert jobs.one_pass(house.case.runtime) == {
        "recorded": 0,
        "held": 0,
        "turned": 1,
        "extended": 0,
        "published": 1,
        "made": 1,
        "let_go": 0,
        "exhausted": 0,
        "withheld": 0,
        "asked": 0,
        "failed": 0,
        "told": 0,
        "sent": 1,
    }


def test_only_the_first_tick_of_a_clinics_day_looks_far_ahead(house: House) -> None:
    house.case.enrol(right())
    daily = jobs.DailyTick(house.case.runtime)
    house.case.now = madrid(date(2027, 6, 15), 0, 5)
    assert daily().extended == 1
    assert daily.extended_on == date(2027, 6, 15)
    house.case.now = madrid(date(2028, 6, 15), 0, 5)
    daily.extended_on = date(2028, 6, 15)
    assert daily().extended == 0


def test_a_job_that_fails_is_logged_by_kind_and_place_alone(caplog: pytest.LogCaptureFixture) -> None:
    def fails() -> None:
        raise ValueError("Ada Ardent, born 28 March 1957")

    jobs.guarded("tick", fails)()
    assert "tick failed and will run again: ValueError in clock.py line" in caplog.text
    assert "Ada" not in caplog.text


def test_housekeeping_forgets_tokens_400_days_after_their_link_and_sessions_that_are_over(house: House) -> None:
    patient_id = house.case.enrol(right())
    now = datetime(2026, 6, 15, 9, tzinfo=UTC)
    with house.case.store.writing() as session:
        end_links(session, session.get_one(Patient, patient_id), now=now)
        account = add_account(session)
        for number, hours in enumerate((-1, 1)):
            session.add(
                StaffSession(
                    secret_hash=bytes([number]) * 32,
                    account_id=account.id,
                    form_secret="x",
                    stage="in",
                    made_at=now,
                    last_seen_at=now,
                    expires_at=now + timedelta(hours=hours),
                )
            )
    house.case.now = now
    assert jobs.keep_house(house.case.runtime) == {"tokens": 0, "sessions": 1}
    house.case.now = now + timedelta(days=401)
    assert jobs.keep_house(house.case.runtime) == {"tokens": 1, "sessions": 1}
    with house.case.store.reading() as session:
        assert session.scalars(select(Link.token)).all() == [None]
        assert session.scalars(select(LinkBirthDate.birth_on)).all() == [None]
